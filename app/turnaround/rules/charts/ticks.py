"""Where an axis is marked: few round figures, and times as people say them."""

from collections.abc import Callable, Iterator
from datetime import date
from math import ceil, floor, inf, log10
from typing import NamedTuple

from app.trade.worktime import words

DAY = 24 * 60
_DAYS = {
    True: (1, 2, 7, 14, 28, 56, 112),
    False: (1, 2, 5, 10, 20, 50, 100),
}
"""Round numbers of days: by the clock weeks, of working days fives."""


class Unit(NamedTuple):
    """What an axis counts: how a figure is said, and a round step so that at most so many fill a span."""

    words: Callable[[float], str]
    step: Callable[[float, int], float]
    all: float = inf
    """No figure is larger, and no axis is longer."""

    def mark(self, value: float) -> str:
        """The figure at an axis, where nothing needs no unit."""
        return self.words(value) if value else "0"

    def ticks(self, low: float, high: float, most: int = 5) -> list[float]:
        """Multiples of a round step; the first is at or below `low`, the last at or above `high`. At least two."""
        high = min(high, self.all)
        step = self.step(max(high - low, 0), most)
        first, last = floor(low / step + 1e-9), ceil(high / step - 1e-9)
        return [round(step * count, 9) for count in range(first, max(last, first + 1) + 1)]


def _decimal(span: float, most: int, least: float) -> float:
    """1, 2 or 5 times a power of ten, and no less than `least`."""
    rough = max(span / most, least)
    power = 10.0 ** floor(log10(rough))
    return next((power * each for each in (1, 2, 5) if power * each >= rough * (1 - 1e-9)), power * 10)


def _percent(share: float) -> str:
    shown = f"{100 * share:.0f}" if share in (0, 1) or abs(share) >= 0.0995 else f"{100 * share:.1f}"
    return f"{shown.removesuffix('.0')}\u00a0%"


COUNT = Unit(lambda count: f"{count:,.0f}", lambda span, most: _decimal(span, most, 1))
SHARE = Unit(_percent, lambda span, most: _decimal(span, most, 0.01), 1)


def minutes(day_minutes: int) -> Unit:
    """Minutes of which a day has so many: a lab's working day, or 24 * 60 by the clock."""

    def step(span: float, most: int) -> float:
        return next(each for each in _steps(day_minutes) if span <= each * most)

    return Unit(lambda value: words(round(value), day_minutes), step)


def _steps(day_minutes: int) -> Iterator[float]:
    """Round steps of time, rising: parts of an hour, hours that make up a day, days, weeks."""
    yield from (5, 10, 15, 30)
    yield from (60 * hours for hours in (1, 2, 3, 4, 6, 12) if day_minutes % (60 * hours) == 0)
    tenfold = 1
    while True:
        yield from (day_minutes * days * tenfold for days in _DAYS[day_minutes == DAY])
        tenfold *= 100


def day_ticks(first: date, last: date, most: int = 8) -> list[tuple[date, str]]:
    """Days from `first` to `last` to mark, at most so many: every one, every second, Mondays, or a month's first."""
    for step in (1, 2, 7, 14):
        # Counted from the first Monday of all, so that every chart marks the same days.
        begins = first.toordinal() + (1 - first.toordinal()) % step
        marked = range(begins, last.toordinal() + 1, step)
        if len(marked) <= most:
            return [(date.fromordinal(day), _day_words(date.fromordinal(day))) for day in marked]
    return _month_ticks(first, last, most)


def _month_ticks(first: date, last: date, most: int) -> list[tuple[date, str]]:
    begins, ends = first.year * 12 + first.month - (first.day == 1), last.year * 12 + last.month - 1
    step = next(each for each in _month_steps() if ends // each - (begins - 1) // each <= most)
    marked = [date(month // 12, month % 12 + 1, 1) for month in range(-(-begins // step) * step, ends + 1, step)]
    return [(day, _month_words(day, with_year=place == 0)) for place, day in enumerate(marked)]


def _month_steps() -> Iterator[int]:
    yield from (1, 2, 3, 6)
    years = 1
    while True:
        yield from (12 * years, 24 * years, 60 * years)
        years *= 10


def _day_words(day: date) -> str:
    return f"{day.day}\u00a0{day:%b}"


def _month_words(day: date, *, with_year: bool) -> str:
    """A January is its year; of other months the first one marked names it."""
    if day.month == 1:
        return f"{day.year}"
    return f"{day:%b}\u00a0{day.year}" if with_year else f"{day:%b}"
