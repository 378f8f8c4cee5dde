"""What became of reviews: kept, overdue, missed, lost; and how wearers felt at them, by what was prescribed."""

from collections import Counter
from typing import Any

from sqlalchemy import and_, case, func, select
from sqlmodel import Session

from app import clock
from app.bench.queries import order_t, pair_t
from app.bench.queries.moves import move_t
from app.fitting.queries import review_t
from app.fitting.tables import FitCheck, WearingPlan
from app.orders.queries import prescription_t
from app.turnaround.queries.returns import Where, at, did, months_to
from app.turnaround.rules.asked import Asked, day_of, following
from app.turnaround.rules.felt import MOST, Felt
from app.turnaround.rules.returns import Follow, Sample

fit_check_t, plan_t = FitCheck.metadata.tables["fit_check"], WearingPlan.metadata.tables["wearing_plan"]


def due(asked: Asked, zone: str) -> Where:
    """Reviews due in the period, before today: what is due today can still be kept."""
    last = min(day_of(following(asked.last)), clock.today(zone))
    return [review_t.c.due_on >= day_of(asked.first), review_t.c.due_on < last]


def follow(db: Session, asked: Asked, zone: str) -> dict[int, Follow]:
    """By clinic."""
    became = (review_t.c.state, review_t.c.outcome == "close")
    query = select(pair_t.c.clinic_id, *became, func.count()).join(pair_t, pair_t.c.id == review_t.c.pair_id)
    query = query.where(*due(asked, zone)).group_by(pair_t.c.clinic_id, *became)
    query = query if asked.clinic is None else query.where(pair_t.c.clinic_id == asked.clinic)
    found: dict[int, Counter[str]] = {}
    for clinic, state, closed, count in db.execute(query):
        fate = {"held": "kept", "open": "overdue"}.get(state, "lost" if closed else "gone")
        found.setdefault(clinic, Counter())[fate] += count
    missed = (
        select(pair_t.c.clinic_id, func.count())
        .join(pair_t, pair_t.c.id == move_t.c.pair_id)
        .where(*did("no_show", *asked.span(zone)), move_t.c.facts["what"].as_string() == "review")
        .group_by(pair_t.c.clinic_id)
    )
    for clinic, count in db.execute(
        missed if asked.clinic is None else missed.where(pair_t.c.clinic_id == asked.clinic)
    ):
        found.setdefault(clinic, Counter())["missed"] += count
    fates = ("kept", "overdue", "lost", "gone")
    return {
        clinic: Follow(sum(each[fate] for fate in fates), *(each[fate] for fate in (*fates, "missed")))
        for clinic, each in found.items()
    }


def kept(db: Session, asked: Asked, zone: str, until: int | None = None) -> list[Sample]:
    """Of the reviews due in each month that were to be kept, those that were held."""
    months, today = months_to(zone, until), clock.today(zone)
    last = min(day_of(following(months[-1])), today)
    day = review_t.c.due_on
    month = case(*((day < day_of(following(each)), each) for each in months[:-1]), else_=months[-1]).label("month")
    gone = and_(review_t.c.state == "void", func.coalesce(review_t.c.outcome, "") != "close")
    query = select(month, (review_t.c.state == "held").label("hit"))
    query = query.where(day >= day_of(months[0]), day < last, ~gone)
    each = at(asked, query, review_t.c.pair_id).subquery()
    hit = func.sum(case((each.c.hit, 1), else_=0))
    rows = db.execute(select(each.c.month, hit, func.count()).group_by(each.c.month)).all()
    found = {row[0]: (int(row[1]), int(row[2])) for row in rows}
    return [Sample(each_month, *found.get(each_month, (0, 0))) for each_month in months]


def felt(db: Session, asked: Asked, zone: str) -> list[Felt]:
    """What each wearer told at the latest review of the period that asked, with the prescription as it was then."""
    since, until = asked.span(zone)
    mine = (prescription_t.c.order_id == order_t.c.id, prescription_t.c.made_at <= review_t.c.held_at)
    newest = select(prescription_t.c.id).where(*mine).order_by(prescription_t.c.number.desc()).limit(1)
    then = newest.correlate(order_t, review_t).scalar_subquery()
    query = (
        select(
            review_t.c.pair_id,
            *(review_t.c[name] for name in ("pain_relief", "comfort", "pain")),
            _pain_before(),
            prescription_t.c.body,
        )
        .join(pair_t, pair_t.c.id == review_t.c.pair_id)
        .join(order_t, order_t.c.id == pair_t.c.order_id)
        .join(prescription_t, prescription_t.c.id == then)
        .where(review_t.c.held_at >= since, review_t.c.held_at < until, review_t.c.state == "held")
        .where(func.coalesce(review_t.c.pain_relief, review_t.c.comfort, review_t.c.pain).is_not(None))
        .order_by(review_t.c.held_at.desc(), review_t.c.id.desc())
        .limit(MOST)
    )
    query = query if asked.clinic is None else query.where(pair_t.c.clinic_id == asked.clinic)
    found: dict[int, Felt] = {}
    for row in db.execute(query):
        found.setdefault(row[0], Felt._make(row[1:]))
    return list(found.values())


def _pain_before() -> Any:
    """As it was told at the pair's first dispensing that holds."""
    return (
        select(fit_check_t.c.pain)
        .join(plan_t, and_(plan_t.c.pair_id == fit_check_t.c.pair_id, plan_t.c.move_id == fit_check_t.c.move_id))
        .where(fit_check_t.c.pair_id == review_t.c.pair_id, plan_t.c.void.is_(False))
        .order_by(fit_check_t.c.id)
        .limit(1)
        .correlate(review_t)
        .scalar_subquery()
    )
