"""From minutes to days: the day by which so many in a hundred runs have a pair there.

A forecast is kept as a hundred days in rising order, each standing for one in a hundred: then the day of a chance and
the chance of a day are both read off it, and what it said can be held against what came.
"""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from app.trade.worktime import WorkCalendar

Days = NDArray[np.int64]
"""As numbers of days (date.toordinal)."""
PARTS = 100
ASKED = (50, 85, 95)
CERTAINTY = 85
"""In a hundred: how sure a promised day is, unless the lab set it."""


def hundredths(leaves: NDArray[np.float32], at: datetime, calendar: WorkCalendar) -> Days:
    """(jobs, 100) of (runs, jobs) minutes by the clock from `at` on. A pair comes to the clinic on working days."""
    runs = len(leaves)
    chosen = np.ceil((np.arange(PARTS) + 0.5) / PARTS * runs).astype(int) - 1
    minutes = np.sort(leaves.T, axis=1)[:, chosen] if leaves.size else np.zeros((leaves.shape[1], PARTS))
    return days_of(minutes, at, calendar)


def days_of(minutes: NDArray[np.floating], at: datetime, calendar: WorkCalendar) -> Days:
    """The working day on which, or after which next, each number of minutes from `at` on is over."""
    zone, today = ZoneInfo(calendar.zone), local_day(at, calendar)
    count = int(minutes.max(initial=0)) // (24 * 60) + 2
    days = [today + timedelta(days=number) for number in range(count)]
    # As instants: two times of one zone are subtracted by the wall.
    ends = [datetime.combine(day + timedelta(days=1), time(), zone).astimezone(UTC) for day in days]
    over = np.array([(end - at) / timedelta(minutes=1) for end in ends])
    working = np.array([calendar.next_working_day(day).toordinal() for day in days])
    return working[np.minimum(np.searchsorted(over, minutes, side="right"), count - 1)]


def local_day(at: datetime, calendar: WorkCalendar) -> date:
    return at.astimezone(ZoneInfo(calendar.zone)).date()


def day_at(row: Days, certainty: float) -> date:
    """The first day by which it is there in so many of a hundred."""
    place = min(max(int(np.ceil(certainty)) - 1, 0), PARTS - 1)
    return date.fromordinal(int(row[place]))


def chance(row: Days, day: date) -> int:
    """In a hundred: that it is there on or before `day`."""
    return int(np.searchsorted(row, day.toordinal(), side="right") * 100 // PARTS)
