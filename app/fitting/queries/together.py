"""The pairs that one wearer is wearing in at the same time: one budget of hours a day, and one appointment."""

from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple, Protocol, TypeVar
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlmodel import Session, col

from app.bench.queries import order_t, pair_t
from app.fitting.queries import at_home
from app.fitting.rules import plan, wearer
from app.fitting.rules.plan import PlanDay
from app.fitting.rules.wearer import Day
from app.fitting.tables import Review, WearingPlan
from app.orders.rules import SHOE_KINDS
from app.templating import day_words
from app.trade.sentences import ENGLISH, Language

mine_t, my_order_t = pair_t.alias(), order_t.alias()


class Beside(NamedTuple):
    """One of a wearer's pairs that are being worn in at a clinic, with its open review and its plan if it has them."""

    pair_id: int
    code: str
    shoe: dict[str, Any]
    due_on: date | None
    appointment: datetime | None
    plan: WearingPlan | None


def worn_in(db: Session, pair_id: int) -> list[Beside]:
    """Every pair that the wearer of this one is wearing in at the same clinic, this one too if it is; by code."""
    goes_on = (col(WearingPlan.pair_id) == pair_t.c.id) & col(WearingPlan.ended_at).is_(None)
    is_open = (col(Review.pair_id) == pair_t.c.id) & (col(Review.state) == "open")
    query = (
        select(pair_t.c.id, pair_t.c.code, order_t.c.shoe, col(Review.due_on), col(Review.appointment), WearingPlan)
        .join(order_t, order_t.c.id == pair_t.c.order_id)
        .join(my_order_t, my_order_t.c.patient_id == order_t.c.patient_id)
        .join(mine_t, (mine_t.c.order_id == my_order_t.c.id) & (mine_t.c.clinic_id == pair_t.c.clinic_id))
        .join(Review, is_open, isouter=True)
        .join(WearingPlan, goes_on & col(WearingPlan.void).is_(False), isouter=True)
        .where(mine_t.c.id == pair_id, pair_t.c.stage == "wear_in")
        .order_by(pair_t.c.code)
    )
    return [Beside(*row) for row in db.execute(query)]


class Due(Protocol):
    """An open review of a wearer's pair."""

    @property
    def code(self) -> str: ...
    @property
    def patient_id(self) -> int: ...
    @property
    def due_on(self) -> date: ...
    @property
    def appointment(self) -> datetime | None: ...


Row = TypeVar("Row", bound=Due)


def at_one_time(rows: Iterable[Row]) -> list[list[Row]]:
    """A wearer's reviews at one instant are one appointment, and so are those that are due on one day unbooked."""
    found: dict[tuple[int, date | datetime], list[Row]] = {}
    for row in sorted(rows, key=lambda each: each.code):
        found.setdefault((row.patient_id, row.appointment or row.due_on), []).append(row)
    return list(found.values())


def beside(rows: Iterable[Due]) -> dict[str, str]:
    """For each code that shares its appointment with others of these: their codes."""
    groups = [[row.code for row in group] for group in at_one_time(rows)]
    return {
        code: " and ".join(each for each in codes if each != code) for codes in groups if codes[1:] for code in codes
    }


def open_for_review(db: Session, pair_id: int) -> list[Beside]:
    """The wearer's other pairs that are still to be reviewed at this clinic."""
    return [each for each in worn_in(db, pair_id) if each.pair_id != pair_id and each.due_on]


def next_at_appointment(db: Session, pair_id: int) -> str:
    """After the review of this pair was held: the code of the next to be reviewed at the same appointment, or "".

    Where none was booked, it is one that was due on the same day.
    """
    query = select(col(Review.due_on), col(Review.appointment)).where(
        col(Review.pair_id) == pair_id, col(Review.state) == "held"
    )
    held = db.execute(query.order_by(col(Review.number).desc())).first()
    others = open_for_review(db, pair_id) if held else []
    same = [each.code for each in others if held and _coming(each.due_on, each.appointment) == _coming(*held)]
    return next(iter(same), "")


def _coming(due_on: date | None, appointment: datetime | None) -> date | datetime | None:
    return appointment or due_on


class Hours(NamedTuple):
    """A pair's hours by day, and those of all pairs that its wearer wears in."""

    days: list[PlanDay]
    noted: list[Day]
    """What the wearer noted of this pair."""
    pairs: list[Beside]
    """All that share the hours, this one too; empty for a wearer of one."""
    together: dict[date, int]
    """Minutes of a day for all of them; empty for a wearer of one."""
    flagged: dict[str, date]
    """The pairs on which a red flag of the wearer's stands, by code, with its day; a wearer's only pair has no code."""
    hurts: bool
    """Whether it hurt lately, in whichever pair."""

    def more(self, day: date, minutes: int) -> int:
        """What all pairs together are worn on a day, if that is more than this one."""
        return each if (each := self.together.get(day, 0)) > minutes else 0


def hours(db: Session, worn: WearingPlan, today: date, zone: str) -> Hours:
    """A pair's hours as they stand: they are held by a day that hurt in whichever pair, for the feet are the same."""
    sharing = [] if worn.ended_at else [each for each in worn_in(db, worn.pair_id) if each.plan]
    others = [each.plan for each in sharing if each.plan and each.plan.id != worn.id]
    plans = [worn, *others]
    noted = [at_home.notes(db, each.pair_id, each, zone) for each in plans]
    hurt = {
        each.from_day + timedelta(days=number - 1)
        for each, days in zip(plans, noted, strict=True)
        for number in at_home.painful(each, days, today)
    }
    days = [_days(each, hurt, today) for each in plans]
    codes = {each.pair_id: each.code for each in sharing}
    return Hours(
        days=days[0],
        noted=noted[0],
        pairs=sharing if others else [],
        together=plan.together(days) if others else {},
        flagged={
            codes.get(each.pair_id, ""): each.from_day + timedelta(days=red.number - 1)
            for each, told in zip(plans, noted, strict=True)
            if (red := wearer.stopped_by(told))
        },
        hurts=any(wearer.hurts(each) for each in noted),
    )


def _days(worn: WearingPlan, hurt: set[date], today: date) -> list[PlanDay]:
    numbers = (worn.start_minutes, worn.step_minutes, worn.target_minutes)
    return plan.days_of(worn.from_day, *numbers, plan.numbers_of(worn.from_day, hurt), today)


def sentence(found: Hours, language: Language) -> str:
    """What a wearer of several pairs is told of the hours; empty for a wearer of one."""
    if not found.pairs:
        return ""
    names = names_of(found.pairs, language)
    grows = any(found.more(day, minutes) for _, day, minutes, _ in found.days)
    return language.say("budget_new" if grows else "budget", pairs=f" ({names})" if names else "")


def names_of(pairs: Sequence[Beside], language: Language) -> str:
    """The pairs by the shoes they are for, as the wearer knows them apart; empty where that does not tell them."""
    kinds = [each.shoe.get("kind", "") for each in pairs]
    if "" in kinds or len(set(kinds)) < len(kinds):
        return ""
    return language.listed([language.say(f"shoes_{kind}") for kind in kinds])


def days_words(found: Hours) -> list[tuple[int, date, str, bool]]:
    return [(number, day, plan.hours_words(minutes), hurt) for number, day, minutes, hurt in found.days]


def view(found: Hours, code: str, today: date) -> dict[str, Any]:
    """The hours of a wearer of several pairs: whose they are, and what all pairs together are worn on each day."""
    return {
        "words": sentence(found, ENGLISH),
        "today": plan.hours_words(found.together.get(today, 0)),
        "by_day": {day: plan.hours_words(minutes) for day, minutes in found.together.items()},
        "pairs": [
            (each.code, SHOE_KINDS.get(each.shoe.get("kind", ""), ""), each.code in found.flagged)
            for each in found.pairs
            if each.code != code
        ],
    }


def other_words(other: Beside, zone: str, today: date) -> str:
    """Another pair of the same wearer, as booking offers it."""
    shoe = SHOE_KINDS.get(other.shoe.get("kind", ""), "")
    at = other.appointment.astimezone(ZoneInfo(zone)) if other.appointment else None
    when_words = f"booked for {day_words(at.date(), today)} {at.hour}:{at:%M}" if at else ""
    if other.due_on and not at:
        when_words = f"due on {day_words(other.due_on, today)}"
    return ", ".join(words for words in (other.code, shoe, when_words) if words)
