"""Percentiles of what is finished: how long a stage usually takes, and what nine of ten stays in.

A percentile here is Hyndman & Fan's type 7 everywhere (the one of spreadsheets and numpy), so a figure on a page, in
a spreadsheet and from the database is the same figure. What is still going on is not in it: that is survival.py.
"""

from collections.abc import Sequence
from math import floor

import numpy as np

from app.trade import OutOfRange


def percentile(values: Sequence[float], p: float) -> float:
    """The value below which `p` percent lie, 0 to 100, between two values by straight line; order doesn't matter.

    Type 7 of Hyndman & Fan, Sample Quantiles in Statistical Packages, The American Statistician 1996;50(4):361-365.
    OutOfRange when there are no values or one of them is no finite number.
    """
    _check(len(values), p)
    numbers = np.asarray(values, dtype=np.float64)
    if not np.isfinite(numbers).all():
        raise OutOfRange("values", "partly no number", "finite numbers")
    return float(np.percentile(numbers, p, method="linear"))


def percentile_at(count: int, p: float) -> tuple[int, float]:
    """Where the type 7 percentile of `count` sorted values stands: an index from 0 and the way to the next value.

    The percentile is `low + fraction * (next - low)`; the fraction is 0 up to below 1, and exactly 0 where there is no
    next value to read. So a database answers it from an ordered index with two rows at an offset.
    """
    _check(count, p)
    # Percent times the steps before the division: 10 % of 10 steps is then exactly 1, where .1 may be a hair off.
    place = p * (count - 1) / 100
    index = floor(place)
    return index, place - index


def between(low: float, following: float, fraction: float) -> float:
    """The percentile from the two values at `percentile_at`'s index and the one after it."""
    return low + fraction * (following - low)


def _check(count: int, p: float) -> None:
    if count < 1:
        raise OutOfRange("count", count, "at least one value")
    if not 0 <= p <= 100:
        raise OutOfRange("percentile", p, "from 0 to 100")
