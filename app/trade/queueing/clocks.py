"""Minutes by the clock and working minutes from one instant on, for whole arrays at once.

What is open when is known to worktime.py; this answers for millions of numbers what it answers for one.
"""

from datetime import datetime, timedelta
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.trade import OutOfRange
from app.trade.worktime import WorkCalendar

Minutes = NDArray[np.float64]
_DAY = 24 * 60


class _Spans(NamedTuple):
    """Open time in minutes from the instant on; an empty span at 0 comes first, so that every number has one."""

    opens: Minutes
    closes: Minutes
    worked: Minutes
    """Working minutes at each closing."""
    apart: Minutes
    """How far the clock is ahead of working time in each span."""
    days: int


class Clock:
    """Both count from `at`, which is 0 in either. The horizon grows with what is asked, up to the calendar's end."""

    def __init__(self, calendar: WorkCalendar, at: datetime) -> None:
        self._calendar = calendar
        self._at = at
        self._spans = self._reckoned(days=64)

    def to_working(self, minutes: ArrayLike) -> Minutes:
        """Working minutes that have passed when so many have by the clock."""
        asked = _checked(minutes)
        spans = self._spans
        while asked.size and asked.max() > spans.days * _DAY:
            spans = self._grown(spans)
        index = np.searchsorted(spans.opens, asked, side="right") - 1
        passed: Minutes = np.minimum(asked, spans.closes.take(index))
        passed -= spans.apart.take(index)
        return passed

    def to_clock(self, minutes: ArrayLike) -> Minutes:
        """The first minute by the clock at which the lab has been open for so many, as `WorkCalendar.add_minutes`."""
        asked = _checked(minutes)
        spans = self._spans
        while asked.size and asked.max() > spans.worked[-1]:
            spans = self._grown(spans)
        reached: Minutes = spans.apart.take(np.searchsorted(spans.worked, asked, side="left"))
        reached += asked
        return reached

    def _grown(self, spans: _Spans) -> _Spans:
        self._spans = grown = self._reckoned(days=spans.days * 2)
        return grown

    def _reckoned(self, days: int) -> _Spans:
        open_spans = self._calendar.open_spans(self._at, self._at + timedelta(days=days))
        since = [[(edge - self._at) / timedelta(minutes=1) for edge in span] for span in open_spans]
        opens, closes = np.array([[0.0, 0.0], *since]).T
        worked = np.cumsum(closes - opens)
        return _Spans(opens, closes, worked, closes - worked, days)


def _checked(minutes: ArrayLike) -> Minutes:
    asked: Minutes = np.asarray(minutes, dtype=np.float64)
    if asked.size and not (np.isfinite(asked.max()) and asked.min() >= 0):
        raise OutOfRange("minutes", "partly negative or no number", "0 or more from the clock's instant on")
    return asked
