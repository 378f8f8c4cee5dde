"""The reviews of the coming weeks by day: who comes when, and how full each day is."""

from collections.abc import Collection
from datetime import date, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.fitting import queries as fitting
from app.fitting.queries import DueRow
from app.fitting.queries.together import at_one_time
from app.trade.worktime import WorkCalendar

WEEKS = 4
MOST = 1_000


class Coming(NamedTuple):
    """A wearer who comes once, with whichever of the own pairs are reviewed then."""

    reviews: list[DueRow]
    at: str
    """The time of the appointment; empty where none is booked."""


class Day(NamedTuple):
    day: date
    open: bool
    """Whether the lab works on it; a clinic's own hours are not known."""
    coming: list[Coming]


class Week(NamedTuple):
    monday: date
    days: list[Day]

    @property
    def load(self) -> int:
        return sum(len(each.coming) for each in self.days)


def agenda(db: Session, clinics: Collection[int], monday: date, zone: str, calendar: WorkCalendar) -> list[Week]:
    """Open reviews from this Monday on: on the day of their appointment, else on the day they are due."""
    by_day: dict[date, list[Coming]] = {}
    here = ZoneInfo(zone)
    for rows in at_one_time(fitting.reviews_due(db, clinics, limit=MOST)):
        first = rows[0]
        booked = first.appointment.astimezone(here) if first.appointment else None
        at = f"{booked.hour}:{booked:%M}" if booked else ""
        by_day.setdefault(booked.date() if booked else first.due_on, []).append(Coming(rows, at))
    return [_week(monday + timedelta(weeks=number), by_day, calendar) for number in range(WEEKS)]


def _week(monday: date, by_day: dict[date, list[Coming]], calendar: WorkCalendar) -> Week:
    days = []
    for number in range(7):
        day = monday + timedelta(days=number)
        coming = sorted(by_day.get(day, []), key=lambda each: (each.at == "", each.at.zfill(5), each.reviews[0].code))
        works = calendar.is_working_day(day)
        if works or coming:
            days.append(Day(day, works, coming))
    return Week(monday, days)
