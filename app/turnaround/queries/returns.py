"""What came back in some months, from the moves themselves and from reviews; every question goes by an index.

Moves are not numbered in the order of time where pairs were written in bulk, so times are looked up in an index that
holds the few acts asked for here (`COMES_BACK`), never by a range of numbers.
"""

import json
from collections import Counter
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, ScalarSelect, Select, Text, and_, case, cast, func, null, or_, select
from sqlmodel import Session

from app import clock
from app.bench.queries import pair_t
from app.bench.queries.moves import move_t
from app.bench.rules.stages import MAKING
from app.bench.tables.pairs import COMES_BACK
from app.fitting.queries import review_t
from app.fitting.tables import Adjustment
from app.orders.queries import prescription_t
from app.turnaround.queries.stays import in_chunks
from app.turnaround.rules.asked import Asked, day_of
from app.turnaround.rules.returns import (
    ADJUSTED,
    BY_MISTAKE,
    HERE,
    LAB,
    REMADE_WITHIN,
    UNSAID,
    Count,
    Returns,
    Sample,
    begins,
    ends,
    is_known,
    last_months,
)

adjustment_t = Adjustment.metadata.tables["adjustment"]
Where = list[Any]


def returns(db: Session, asked: Asked, zone: str, until: int | None = None, *, shells: bool = True) -> Returns:
    """Without `shells` no act has one: to look up what was prescribed takes longer than all else."""
    begins_at, ends_at = asked.span(zone)
    return Returns(
        asked,
        _counts(db, asked, begins_at, ends_at, shells=shells),
        *_adjustments(db, asked, begins_at, ends_at),
        shares(db, asked, zone, until),
    )


def did(act: str, since: datetime | None, until: datetime | None) -> Where:
    """Acts that hold: what was taken back never happened, and neither did what was booked by mistake."""
    # Whatever takes an act back comes after it.
    back = select(move_t.c.takes_back).where(COMES_BACK, move_t.c.act == "take_back", move_t.c.takes_back.is_not(None))
    back = back if since is None else back.where(move_t.c.done_at >= since)
    found: Where = [COMES_BACK, move_t.c.act == act]
    found += [] if since is None else [move_t.c.done_at >= since]
    found += [] if until is None else [move_t.c.done_at < until]
    if act == "send_back":
        found.append(or_(move_t.c.reason.is_(None), move_t.c.reason != BY_MISTAKE))
    return [*found, move_t.c.id.not_in(back)]


def at(asked: Asked, query: Select[*tuple[Any, ...]], pair: ColumnElement[Any]) -> Select[*tuple[Any, ...]]:
    """Narrowed to a clinic's pairs, as they are now."""
    if asked.clinic is None:
        return query
    return query.join(pair_t, pair_t.c.id == pair).where(pair_t.c.clinic_id == asked.clinic)


def shell_then() -> ScalarSelect[str]:
    """The shell that was prescribed when a move was made; the left's, where the sides differ."""
    body = prescription_t.c.body
    shell = func.coalesce(body[("L", "shell")].as_string(), body[("R", "shell")].as_string())
    mine = (prescription_t.c.order_id == pair_t.c.order_id, prescription_t.c.made_at <= move_t.c.done_at)
    versions = select(shell).where(*mine).order_by(prescription_t.c.number.desc()).limit(1)
    return versions.correlate(pair_t, move_t).scalar_subquery()


def _counts(db: Session, asked: Asked, since: datetime, until: datetime, *, shells: bool) -> list[Count]:
    found = []
    for act in ("send_back", "adjust", "remake", "dispense"):
        shell = shell_then() if shells else null()
        of = (move_t.c.act, move_t.c.reason, move_t.c.from_stage, shell, pair_t.c.clinic_id)
        where = move_t.c.facts["where"].as_string()
        inner = select(*(each.label(f"c{place}") for place, each in enumerate((*of, where))))
        inner = inner.join(pair_t, pair_t.c.id == move_t.c.pair_id).where(*did(act, since, until))
        if asked.clinic is not None:
            inner = inner.where(pair_t.c.clinic_id == asked.clinic)
        alike = inner.subquery()
        found += [Count(*row) for row in db.execute(select(*alike.c, func.count()).group_by(*alike.c))]
    return found


def _adjustments(db: Session, asked: Asked, since: datetime, until: datetime) -> tuple[Counter[str], Counter[str]]:
    """By what was done, and by where it is done; each act counts once at each."""
    facts = move_t.c.facts
    # The stages that were named are those of the new visit's route that make something.
    where, route = facts["where"].as_string(), cast(facts["route"], Text)
    done = and_(adjustment_t.c.pair_id == move_t.c.pair_id, adjustment_t.c.move_id == move_t.c.id)
    query = select(
        move_t.c.id.label("id"),
        where.label("place"),
        route.label("route"),
        adjustment_t.c.zone.label("zone"),
        adjustment_t.c.what.label("what"),
    ).join(adjustment_t, done, isouter=True)
    each = at(asked, query.where(*did("adjust", since, until)), move_t.c.pair_id).subquery()
    alike = (each.c.place, each.c.route, each.c.zone, each.c.what)
    what: Counter[str] = Counter()
    for place, _, zone, how, count in db.execute(select(*alike, func.count(each.c.id.distinct())).group_by(*alike)):
        what[LAB if place == "lab" else f"{zone}.{how}" if zone else UNSAID] += count
    at_: Counter[str] = Counter()
    for place, named, count in db.execute(
        select(each.c.place, each.c.route, func.count(each.c.id.distinct())).group_by(each.c.place, each.c.route)
    ):
        for stage in (set(json.loads(named or "[]")) & set(MAKING)) if place == "lab" else [HERE]:
            at_[stage] += count
    return what, at_


def shares(db: Session, asked: Asked, zone: str, until: int | None = None) -> dict[str, list[Sample]]:
    """Each kind's share by month; months that nothing is known of yet are left out."""
    months = months_to(zone, until)
    dispensed = _by_month(db, asked, months, zone, did("dispense", *_span(months, zone)))
    sent_back = select(move_t.c.visit_id).where(*did("send_back", None, None))
    hits = _by_month(
        db, asked, months, zone, [*did("dispense", *_span(months, zone)), move_t.c.visit_id.in_(sent_back)]
    )
    remade, now = _remade(db, asked, months, zone), clock.now()
    return {
        "send_back": [Sample(month, hits[month], dispensed[month]) for month in months],
        "adjust": _reviewed(db, asked, months, zone),
        "remake": [Sample(month, remade[month], dispensed[month]) for month in months if is_known(month, zone, now)],
    }


def months_to(zone: str, until: int | None) -> list[int]:
    return last_months(clock.today(zone) if until is None else day_of(until))


def _span(months: Sequence[int], zone: str) -> tuple[datetime, datetime]:
    return begins(months[0], zone), ends(months[-1], zone)


def month_at(column: ColumnElement[Any], months: Sequence[int], zone: str) -> ColumnElement[int]:
    """Which of these months an instant lies in, all of them being within."""
    return case(*((column < ends(month, zone), month) for month in months[:-1]), else_=months[-1])


def _by_month(db: Session, asked: Asked, months: Sequence[int], zone: str, where: Where) -> Counter[int]:
    month = month_at(move_t.c.done_at, months, zone).label("month")
    each = at(asked, select(month).where(*where), move_t.c.pair_id).subquery()
    rows = db.execute(select(each.c.month, func.count()).group_by(each.c.month))
    return Counter({row[0]: row[1] for row in rows})


def _remade(db: Session, asked: Asked, months: Sequence[int], zone: str) -> Counter[int]:
    """Of the dispensings of each month, those after which the pair was remade in time."""
    first, last = _span(months, zone)
    found: Counter[int] = Counter()
    for _, dispensed in remade(db, asked, first, last):
        found[next(month for month in months if dispensed < ends(month, zone))] += 1
    return found


def remade(db: Session, asked: Asked, since: datetime, until: datetime) -> list[tuple[int, datetime]]:
    """Pairs dispensed from `since` to before `until` that were remade in time, with when they were dispensed."""
    wanted = select(move_t.c.pair_id, move_t.c.done_at).where(*did("remake", since, until + REMADE_WITHIN))
    again = db.execute(at(asked, wanted, move_t.c.pair_id)).all()
    made: dict[int, list[datetime]] = {}
    handed = select(move_t.c.pair_id, move_t.c.done_at).where(*did("dispense", since, until))
    for some in in_chunks({row[0] for row in again}):
        for pair, dispensed in db.execute(handed.where(move_t.c.pair_id.in_(some)).order_by(move_t.c.done_at)):
            made.setdefault(pair, []).append(dispensed)
    found = []
    for pair, when in again:
        before = [each for each in made.get(pair, ()) if when - REMADE_WITHIN <= each <= when]
        found += [(pair, before[-1])] if before else []
    return found


def _reviewed(db: Session, asked: Asked, months: Sequence[int], zone: str) -> list[Sample]:
    since, until = _span(months, zone)
    held = (review_t.c.held_at >= since, review_t.c.held_at < until)
    month = month_at(review_t.c.held_at, months, zone).label("month")
    query = select(month, review_t.c.outcome.in_(ADJUSTED).label("hit")).where(*held)
    each = at(asked, query, review_t.c.pair_id).subquery()
    hit = func.sum(case((each.c.hit, 1), else_=0))
    rows = db.execute(select(each.c.month, hit, func.count()).group_by(each.c.month)).all()
    found = {row[0]: (int(row[1]), int(row[2])) for row in rows}
    return [Sample(each_month, *found.get(each_month, (0, 0))) for each_month in months]
