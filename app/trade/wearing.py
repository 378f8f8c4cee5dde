"""Wearing in: how long the new pair is worn on each day, and when the wearer is seen again.

Minutes are counted for day numbers from 1, the day of dispensing. Plans are defaults that a clinician may change;
which plan a wearer was given, which days hurt and what was found at the review is kept by the fitting room.
"""

from calendar import monthrange
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from datetime import date, timedelta

from app.trade import OutOfRange
from app.trade.worktime import WorkCalendar

FULL_DAY = 24 * 60
REVIEW_AFTER = timedelta(weeks=2)
REVIEW_AFTER_AT_HIGH_RISK = timedelta(weeks=1)
RECHECK_MONTHS = (3, 6)


@dataclass(frozen=True)
class Plan:
    """`target_minutes` is the day's wear at which the hours stop rising; no leaflet gives one number for it."""

    key: str
    words: str
    start_minutes: int
    step_minutes: int
    target_minutes: int
    source: str


_TARGET = "The full day of eight hours is common practice, no source."

PLANS: dict[str, Plan] = {
    plan.key: plan
    for plan in (
        Plan(
            "hour",
            "One hour on the first day, then one hour more each day",
            60,
            60,
            480,
            f"Wearing-in leaflets of four public hospital services; also common practice. {_TARGET}",
        ),
        Plan(
            "half_hour",
            "Half an hour on the first day, then half an hour more each day",
            30,
            30,
            480,
            "Wearing-in leaflets of public hospital services (five hours on day 10); choosing it where feeling is "
            f"lost is common practice, no source. {_TARGET}",
        ),
    )
}


def usual(sensation_loss: bool) -> Plan:
    """The plan to begin with: half an hour where feeling in the foot is lost, because pain won't warn the wearer."""
    return PLANS["half_hour" if sensation_loss else "hour"]


def hours(
    start_minutes: int, step_minutes: int, target_minutes: int, days: int, painful: AbstractSet[int] = frozenset()
) -> tuple[int, ...]:
    """Minutes to wear on day 1, 2 ... `days`. `painful` holds the numbers of the days on which it hurt.

    After a painful day the next one stays as long as it was, until a day has passed without pain (so the leaflets of
    four public services); then the hours rise again from there, up to `target_minutes`. Days past `days` don't
    matter yet. OutOfRange for a start of nothing or beyond the target, a target beyond 24 h, a negative step or
    number of days, and a painful day before day 1.
    """
    _check(start_minutes, step_minutes, target_minutes, days, painful)
    plan = []
    minutes = start_minutes
    for day in range(1, days + 1):
        plan.append(minutes)
        if day not in painful:
            minutes = min(minutes + step_minutes, target_minutes)
    return tuple(plan)


def review_day(dispensed: date, high_risk: bool, calendar: WorkCalendar) -> date:
    """Two weeks after dispensing, one week at high risk, or the first working day from then on.

    Two and four weeks are the most usual first reviews (33 % and 40 % of 238 clinicians: Donnan, Horn & Baker,
    PLoS ONE 2022;17(10):e0276716); one week at high risk is common practice, no source.
    """
    return calendar.next_working_day(dispensed + (REVIEW_AFTER_AT_HIGH_RISK if high_risk else REVIEW_AFTER))


def recheck_days(dispensed: date, calendar: WorkCalendar, months: tuple[int, ...] = RECHECK_MONTHS) -> tuple[date, ...]:
    """So many months after dispensing, each the same day of the month or the first working day from then on.

    A day that the month has not (31 February) is its last. About every three months at high risk: van Netten et
    al., J Foot Ankle Res 2018;11:2; six months is common practice, no source. OutOfRange for less than a month.
    """
    if min(months, default=1) < 1:
        raise OutOfRange("recheck months", min(months), "1 or more after dispensing")
    return tuple(calendar.next_working_day(_months_later(dispensed, each)) for each in months)


def _months_later(day: date, months: int) -> date:
    years, month = divmod(day.month - 1 + months, 12)
    year = day.year + years
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def _check(start_minutes: int, step_minutes: int, target_minutes: int, days: int, painful: AbstractSet[int]) -> None:
    if not 0 < target_minutes <= FULL_DAY:
        raise OutOfRange("target minutes", target_minutes, f"from 1 to {FULL_DAY}, a day and a night")
    if not 0 < start_minutes <= target_minutes:
        raise OutOfRange("start minutes", start_minutes, f"from 1 to the {target_minutes} aimed at")
    if step_minutes < 0:
        raise OutOfRange("step minutes", step_minutes, "0 or more: the hours never fall by plan")
    if days < 0:
        raise OutOfRange("days", days, "0 or more")
    if painful and min(painful) < 1:
        raise OutOfRange("painful day", min(painful), "a day number from 1, the day of dispensing")
