"""Working time: how long the lab was open between two instants, and on which working day something falls.

Hours are wall time in the lab's zone, so a span over a clock change is as long as it really was. Which days are
public holidays is settled by who makes the calendar; what a stage usually takes is estimates.py.
"""

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import cached_property
from itertools import accumulate
from zoneinfo import ZoneInfo

from app.trade import OutOfRange

Span = tuple[time, time]
NBSP = "\u00a0"
FIRST_YEAR, LAST_YEAR = 1970, 2199

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)
_MINUTE = 60_000_000
_ANCHOR = 2026


@dataclass(frozen=True)
class WorkCalendar:
    """`hours` holds seven weekdays, Monday first, each a tuple of open spans; a break is the gap between two.

    Spans are whole minutes of wall time; one that ends at 00:00 lasts until midnight. An instant has to be aware
    (TypeError otherwise); days and instants from 1970 to 2199 are known, others are OutOfRange. What is worked out
    once is kept with the calendar, so a question costs about a microsecond: keep the calendar, too.
    """

    zone: str
    hours: tuple[tuple[Span, ...], ...]
    days_off: frozenset[date] = frozenset()

    def __post_init__(self) -> None:
        try:
            ZoneInfo(self.zone)
        except (KeyError, ValueError, OSError):  # unknown, malformed, a folder of zones
            raise OutOfRange("zone", repr(self.zone), "a time zone such as Europe/Lisbon") from None
        if len(self.hours) != 7:
            raise OutOfRange("hours", f"a list of {len(self.hours)}", "seven weekdays, Monday first")
        for spans in self.hours:
            _check_spans(spans)
        if not any(self.hours):
            raise OutOfRange("hours", "empty", "at least one open span in the week")

    def is_working_day(self, day: date) -> bool:
        return bool(self.hours[day.weekday()]) and day not in self.days_off

    def next_working_day(self, day: date) -> date:
        """`day` itself if it is one."""
        return self.add_working_days(day, 0)

    def add_working_days(self, day: date, count: int) -> date:
        """As numpy.busday_offset with roll="forward": from a day off it counts from the next working day."""
        if count < 0:
            raise OutOfRange("count", count, "0 or more working days")
        return date.fromordinal(self._reckoning.nth_day_from(day, count))

    def working_days_between(self, start: date, end: date) -> int:
        """Working days from `start` to before `end`, as numpy.busday_count; negative when `end` comes first."""
        if end < start:
            return -self.working_days_between(end, start)
        return self._reckoning.days_before(end) - self._reckoning.days_before(start)

    def minutes_between(self, start: datetime, end: datetime) -> int:
        """Whole working minutes from `start` to `end`; 0 when `end` comes first."""
        # Compared as instants: two times of one zone compare by the wall, which shows a repeated hour twice.
        begins, ends = _microseconds(start), _microseconds(end)
        if ends <= begins:
            return 0
        worked = self._reckoning.worked_at
        return (worked(ends) - worked(begins)) // _MINUTE

    def add_minutes(self, start: datetime, minutes: int) -> datetime:
        """The first instant, in UTC, at which the lab has been open for `minutes` since `start`.

        So a last hour before closing ends at closing, not on the next morning; 0 minutes is `start` itself.
        """
        if minutes < 0:
            raise OutOfRange("minutes", minutes, "0 or more")
        reached = _microseconds(start)
        if minutes:
            reached = self._reckoning.instant_after(reached, minutes * _MINUTE)
        return _EPOCH + timedelta(microseconds=reached)

    def open_spans(self, start: datetime, end: datetime) -> list[tuple[datetime, datetime]]:
        """When the lab is open from `start` to `end`, in UTC; spans that reach beyond them are cut off there."""
        begins, ends = _microseconds(start), _microseconds(end)
        return [
            (_EPOCH + timedelta(microseconds=opens), _EPOCH + timedelta(microseconds=closes))
            for opens, closes in self._reckoning.spans(begins, ends)
        ]

    def minutes_of(self, day: date) -> int:
        """Working minutes of one day as they really pass: a clock change in an open span counts."""
        zone = ZoneInfo(self.zone)
        worked = self._reckoning.worked_at
        begins, ends = _instant(day, time(), zone), _instant(day + timedelta(days=1), time(), zone)
        return (worked(ends) - worked(begins)) // _MINUTE

    def standard_day_minutes(self) -> int:
        """Wall-clock minutes of the most usual working weekday, the longest of several: what "1 d" means here."""
        return self._standard_day

    @cached_property
    def _standard_day(self) -> int:
        lengths = Counter(sum(_closing(end) - _minute(start) for start, end in spans) for spans in self.hours if spans)
        return max(lengths, key=lambda length: (lengths[length], length))

    @cached_property
    def _reckoning(self) -> "_Reckoning":
        return _Reckoning(self)


def words(minutes: int, day_minutes: int) -> str:
    """Working time as people say it, never broken over a line: "40 min", "5 h", "1 d 2 h", from ten days on "12 d".

    Hours and days begun are not counted. `day_minutes` is what a day means (24 * 60 where a stage goes by the
    clock). Less than nothing, as two machines' clocks may make it, reads "0 min".
    """
    if minutes < 60:
        return f"{max(minutes, 0)}{NBSP}min"
    days, rest = divmod(minutes, day_minutes)
    hours = rest // 60
    if not days:
        return f"{hours}{NBSP}h"
    return f"{days}{NBSP}d" + (f"{NBSP}{hours}{NBSP}h" if hours and days < 10 else "")


@dataclass(frozen=True, slots=True)
class _Table:
    """All open time of some years in a row; instants and lengths in microseconds, days as ordinals."""

    years: range
    begins: int
    ends: int
    opens: list[int]
    closes: list[int]
    worked: list[int]
    """Before each opening, counted from the anchor year's start: a grown table counts like the one it replaces."""
    days: list[int]
    days_before_anchor: int


class _Reckoning:
    """A calendar's table, grown by whole years when a question reaches past it.

    A grown table takes the old one's place in a single assignment, and a question goes on with the table it began
    with, so threads may ask at the same time.
    """

    def __init__(self, calendar: WorkCalendar) -> None:
        self._calendar = calendar
        self._table = _tabulate(calendar, range(_ANCHOR, _ANCHOR + 1))

    def worked_at(self, instant: int) -> int:
        """Open time up to `instant`; only differences mean anything."""
        return _worked(self._holding(instant), instant)

    def instant_after(self, instant: int, length: int) -> int:
        table = self._holding(instant)
        wanted = _worked(table, instant) + length
        while table.worked[-1] < wanted:
            table = self._doubled(table)
        index = bisect_left(table.worked, wanted) - 1
        return table.opens[index] + wanted - table.worked[index]

    def spans(self, start: int, end: int) -> Iterator[tuple[int, int]]:
        """Open time from `start` to `end`, without spans of no length."""
        table = self._grown(self._holding(start), _local_year(end, self._calendar.zone))
        index = bisect_right(table.closes, start)
        while index < len(table.opens) and table.opens[index] < end:
            opens, closes = max(table.opens[index], start), min(table.closes[index], end)
            if opens < closes:
                yield opens, closes
            index += 1

    def days_before(self, day: date) -> int:
        """Working days before `day`; only differences mean anything."""
        table = self._grown(self._table, day.year)
        return bisect_left(table.days, day.toordinal()) - table.days_before_anchor

    def nth_day_from(self, day: date, count: int) -> int:
        table = self._grown(self._table, day.year)
        while (index := bisect_left(table.days, day.toordinal()) + count) >= len(table.days):
            table = self._doubled(table)
        return table.days[index]

    def _holding(self, instant: int) -> _Table:
        table = self._table
        if table.begins <= instant < table.ends:
            return table
        return self._grown(table, _local_year(instant, self._calendar.zone))

    def _doubled(self, table: _Table) -> _Table:
        """To the future; year by year, a mistyped million of days would be reckoned for half a minute."""
        ahead = min(table.years.stop + len(table.years) - 1, LAST_YEAR)
        return self._grown(table, max(ahead, table.years.stop))

    def _grown(self, table: _Table, year: int) -> _Table:
        """`table` itself if it holds the year."""
        if year not in table.years:
            if not FIRST_YEAR <= year <= LAST_YEAR:
                raise OutOfRange("year", year, f"from {FIRST_YEAR} to {LAST_YEAR}, where working time is known")
            years = range(min(year, table.years.start), max(year + 1, table.years.stop))
            self._table = table = _tabulate(self._calendar, years)
        return table


def _worked(table: _Table, instant: int) -> int:
    index = bisect_right(table.opens, instant) - 1
    if index < 0:
        return table.worked[0]
    return table.worked[index] + min(instant, table.closes[index]) - table.opens[index]


def _tabulate(calendar: WorkCalendar, years: range) -> _Table:
    """The table of `years`, which include the anchor."""
    zone = ZoneInfo(calendar.zone)
    starts = [date(year, 1, 1) for year in (years.start, _ANCHOR, years.stop)]
    begins, anchor, ends = (_instant(day, time(), zone) for day in starts)
    first_day, anchor_day, last_day = (day.toordinal() for day in starts)
    days = [day for day in map(date.fromordinal, range(first_day, last_day)) if calendar.is_working_day(day)]
    opens: list[int] = []
    closes: list[int] = []
    before = begins
    for day in days:
        for start, end in calendar.hours[day.weekday()]:
            # A wall time that a clock change leaves out is read as an hour later (PEP 495): it may run into the next.
            opens.append(max(before, _instant(day, start, zone)))
            before = max(opens[-1], _instant(day + timedelta(days=end == time()), end, zone))
            closes.append(before)
    worked = list(accumulate((end - start for start, end in zip(opens, closes, strict=True)), initial=0))
    zero = worked[bisect_left(opens, anchor)]
    ordinals = [day.toordinal() for day in days]
    return _Table(
        years, begins, ends, opens, closes, [n - zero for n in worked], ordinals, bisect_left(ordinals, anchor_day)
    )


def _check_spans(spans: tuple[Span, ...]) -> None:
    edges = [edge for span in spans for edge in span]
    shown = ", ".join(f"{start:%H:%M}-{end:%H:%M}" for start, end in spans)
    if any(edge.second or edge.microsecond or edge.tzinfo for edge in edges):
        raise OutOfRange("hours", shown, "whole minutes of wall time")
    minutes = [number for start, end in spans for number in (_minute(start), _closing(end))]
    if minutes != sorted(minutes) or any(_minute(start) == _closing(end) for start, end in spans):
        raise OutOfRange("hours", shown, "open spans in order that do not overlap, such as 08:00-12:00, 13:00-17:00")


def _minute(at: time) -> int:
    return at.hour * 60 + at.minute


def _closing(at: time) -> int:
    return _minute(at) or 24 * 60


def _microseconds(at: datetime) -> int:
    return (at - _EPOCH) // _MICROSECOND


def _instant(day: date, at: time, zone: ZoneInfo) -> int:
    return _microseconds(datetime.combine(day, at, zone))


def _local_year(instant: int, zone: str) -> int:
    at = _EPOCH + timedelta(microseconds=instant)
    # The calendar of Python ends at the years 1 and 9999, where a zone's shift would run over the edge.
    return at.astimezone(ZoneInfo(zone)).year if FIRST_YEAR <= at.year <= LAST_YEAR else at.year
