"""What to promise: the day by which a new pair is at its clinic as surely as the lab wants, and the odds of a wish."""

from datetime import date, datetime, timedelta
from typing import NamedTuple

import numpy as np
from sqlmodel import Session

from app import clock
from app.bench.queries.promising import standard_day
from app.people import queries as people
from app.turnaround.queries.forecast import certainty, made
from app.turnaround.rules.forecast.line import place_words
from app.turnaround.rules.forecast.odds import chance, day_at
from app.turnaround.tables import OrderForecast

GOOD_FOR = timedelta(days=1)
"""An older forecast says nothing of what is ordered now: standard days hold instead."""


class Promise(NamedTuple):
    day: date
    certainty: int
    """In a hundred."""
    made_at: datetime | None = None
    """When the forecast was made; None where there is none, and the route's standard working days are taken."""
    missing: tuple[str, ...] = ()
    """The queues of which too little is known, if that is why."""
    wanted_on: date | None = None
    odds: int | None = None
    """In a hundred, of the wanted day; None where there is no forecast or no wish."""

    @property
    def tight(self) -> bool:
        """Wanted sooner than can be promised."""
        return self.wanted_on is not None and self.wanted_on < self.day


def promise(db: Session, *, way: str, clinic_id: int, start: str, wanted_on: date | None = None) -> Promise:
    """Of a pair of this route that is ordered or checked in now (`start`: order, check_in)."""
    clinic, last, asked = people.clinic(db, clinic_id), made(db), certainty(db)
    row = db.get(OrderForecast, (way, clinic.by_parcel, clinic.trims, start))
    if row is None or last is None or not row.days or clock.now() - last.made_at > GOOD_FOR:
        missing = tuple(map(place_words, row.missing)) if row else ()
        return Promise(standard_day(db, way, clinic_id), asked, missing=missing, wanted_on=wanted_on)
    days = np.array(row.days)
    # What was foretold yesterday for today is today's work now.
    day = max(day_at(days, asked), people.work_calendar(db).next_working_day(clock.today(people.lab(db).zone)))
    return Promise(day, asked, last.made_at, (), wanted_on, chance(days, wanted_on) if wanted_on else None)
