"""Working time: how long the lab was open between two instants, and on which working day something falls.

Hours are wall time in the lab's zone, so a span over a clock change is as long as it really was.
"""

from bisect import bisect_right
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np

from app.trade import OutOfRange

Span = tuple[time, time]
NBSP = "\u00a0"


@dataclass(frozen=True)
class WorkCalendar:
    """`hours` holds seven weekdays, Monday first, each a tuple of open spans; a break is the gap between two."""

    zone: str
    hours: tuple[tuple[Span, ...], ...]
    days_off: frozenset[date] = frozenset()

    def __post_init__(self) -> None:
        if len(self.hours) != 7:
            raise OutOfRange("hours", len(self.hours), "seven weekdays, Monday first")
        try:
            ZoneInfo(self.zone)
        except (ZoneInfoNotFoundError, ValueError):
            raise OutOfRange("zone", self.zone, "a time zone such as Europe/Lisbon") from None
        for spans in self.hours:
            edges = [edge for span in spans for edge in span]
            if edges != sorted(edges) or any(start >= end for start, end in spans):
                raise OutOfRange("hours", spans, "spans in order that do not overlap")
        if not any(self.hours):
            raise OutOfRange("hours", "empty", "at least one working day in the week")

    def is_working_day(self, day: date) -> bool:
        return bool(self.hours[day.weekday()]) and day not in self.days_off

    def next_working_day(self, day: date) -> date:
        """`day` itself if it is one."""
        while not self.is_working_day(day):
            day += timedelta(days=1)
        return day

    def add_working_days(self, day: date, count: int) -> date:
        """As numpy.busday_offset with roll="forward": a day off counts from the next working day."""
        if count < 0:
            raise OutOfRange("count", count, "0 or more")
        day = self.next_working_day(day)
        for _ in range(count):
            day = self.next_working_day(day + timedelta(days=1))
        return day

    def working_days_between(self, start: date, end: date) -> int:
        """Working days from `start` to before `end`; negative when `end` comes first."""
        if end < start:
            return -self.working_days_between(end, start)
        return sum(self.is_working_day(start + timedelta(days=n)) for n in range((end - start).days))

    def minutes_between(self, start: datetime, end: datetime) -> int:
        """Whole working minutes from `start` to `end`, both aware; 0 when `end` comes first."""
        if end <= start:
            return 0
        return int((_worked(self, end) - _worked(self, start)) // 60)

    def add_minutes(self, start: datetime, minutes: int) -> datetime:
        """The instant when the lab has been open for so many minutes since `start`."""
        wanted = _worked(self, start) + minutes * 60
        year = start.astimezone(ZoneInfo(self.zone)).year
        while _before(self, year + 1) < wanted:
            year += 1
        layout = _year(self, year)
        inside = wanted - _before(self, year)
        index = min(bisect_right(layout.sums, inside - 1e-9), len(layout.starts)) - 1
        return datetime.fromtimestamp(layout.starts[index] + inside - layout.sums[index], UTC)

    def minutes_of(self, day: date) -> int:
        zone = ZoneInfo(self.zone)
        spans = self.hours[day.weekday()] if self.is_working_day(day) else ()
        return round(sum(_instant(day, end, zone) - _instant(day, start, zone) for start, end in spans) / 60)

    def standard_day_minutes(self) -> int:
        """The minutes of the most usual working day: what "1 d" means at this lab."""
        lengths = [sum((e.hour - s.hour) * 60 + e.minute - s.minute for s, e in spans) for spans in self.hours if spans]
        return max(lengths, key=lambda length: (lengths.count(length), length))


@dataclass(frozen=True)
class _Layout:
    """A year's open spans as seconds since the epoch, with the seconds worked before each."""

    starts: list[float]
    ends: list[float]
    sums: list[float]
    total: float


@lru_cache(maxsize=256)
def _year(calendar: WorkCalendar, year: int) -> _Layout:
    zone = ZoneInfo(calendar.zone)
    starts: list[float] = []
    ends: list[float] = []
    day = date(year, 1, 1)
    while day.year == year:
        if calendar.is_working_day(day):
            for start, end in calendar.hours[day.weekday()]:
                starts.append(_instant(day, start, zone))
                ends.append(_instant(day, end, zone))
        day += timedelta(days=1)
    lengths = np.asarray(ends) - np.asarray(starts)
    sums = np.concatenate([[0.0], np.cumsum(lengths)])
    return _Layout(starts, ends, sums[:-1].tolist(), float(sums[-1]))


@lru_cache(maxsize=512)
def _before(calendar: WorkCalendar, year: int) -> float:
    """Seconds worked from 2000 to the start of `year`; only differences are ever used."""
    if year <= 2000:
        return -sum(_year(calendar, earlier).total for earlier in range(year, 2000))
    return _before(calendar, year - 1) + _year(calendar, year - 1).total


def _worked(calendar: WorkCalendar, at: datetime) -> float:
    """Seconds the lab had been open at this instant, counted from 2000."""
    year = at.astimezone(ZoneInfo(calendar.zone)).year
    layout = _year(calendar, year)
    moment = at.timestamp()
    index = bisect_right(layout.starts, moment) - 1
    if index < 0:
        return _before(calendar, year)
    return _before(calendar, year) + layout.sums[index] + min(moment, layout.ends[index]) - layout.starts[index]


def _instant(day: date, at: time, zone: ZoneInfo) -> float:
    return datetime.combine(day, at, zone).timestamp()


def words(minutes: int, day_minutes: int) -> str:
    """Working time as people say it: "40 min", "5 h", "1 d 2 h"; never broken over a line."""
    if minutes < 60:
        return f"{minutes}{NBSP}min"
    days, rest = divmod(minutes, day_minutes)
    hours = rest // 60
    if not days:
        return f"{hours}{NBSP}h"
    return f"{days}{NBSP}d" + (f"{NBSP}{hours}{NBSP}h" if hours and days < 10 else "")
