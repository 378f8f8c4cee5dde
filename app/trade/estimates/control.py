"""What is usual variation and what is not: the individuals chart, the p-chart, shares with their doubt, Pareto.

A point outside of its limits is worth asking about; one inside is not, however it looks beside its neighbour.
"""

from collections.abc import Mapping
from math import sqrt
from statistics import NormalDist
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.trade import OutOfRange

_D2, _UPPER_RANGE = 1.128, 3.267
"""Of ranges of two values: their mean in standard deviations, so that 3 / 1.128 = 2.660 mean moving ranges are three of
them; and the upper limit of the ranges themselves (D4)."""


class Individuals(NamedTuple):
    """Limits of an individuals chart in the values' own unit; `low` may be below 0 where no value can be."""

    mean: float
    low: float
    high: float
    range_mean: float
    range_high: float
    outside: tuple[int, ...]
    """Which values lie outside of `low` to `high`, by their place from 0."""


class Shares(NamedTuple):
    """Limits of a p-chart, one entry a sample; of a sample of nothing the share is nan, and its limits are 0 and 1."""

    share: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    outside: tuple[int, ...]
    mean: float
    """The share of all samples taken together, from 0 to 1, which the limits lie about."""


class ParetoRow(NamedTuple):
    key: str
    count: int  # type: ignore[assignment]  # a tuple's own count() is not wanted here
    share: float
    running: float
    """The share of this row and all before it; exactly 1 in the last."""


def individuals(values: ArrayLike) -> Individuals:
    """Limits from the moving ranges of values in the order they came: mean -+ 2.660 of them; ranges up to 3.267.

    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2. OutOfRange for fewer than two values and for one that is
    no finite number.
    """
    numbers = np.asarray(values, dtype=np.float64)
    if len(numbers) < 2:
        raise OutOfRange("count", len(numbers), "at least two values")
    if not np.isfinite(numbers).all():
        raise OutOfRange("values", "partly no number", "finite numbers")
    mean, spread = float(numbers.mean()), float(np.abs(np.diff(numbers)).mean())
    low, high = mean - 3 / _D2 * spread, mean + 3 / _D2 * spread
    return Individuals(mean, low, high, spread, _UPPER_RANGE * spread, _outside(numbers, low, high))


def shares(hits: ArrayLike, sizes: ArrayLike) -> Shares:
    """A p-chart: three standard deviations of a share of `sizes` things about the share of all, kept within 0 to 1.

    Each sample has limits of its own size. Montgomery, Introduction to Statistical Quality Control, chapter on
    attributes (from memory). OutOfRange when all samples are empty, or one has more hits than things.
    """
    found, size = np.asarray(hits, dtype=np.float64), np.asarray(sizes, dtype=np.float64)
    if found.shape != size.shape or not ((found >= 0) & (found <= size)).all():
        raise OutOfRange("hits", "not a part of each sample", "from 0 to its size, for each sample")
    if not size.sum():
        raise OutOfRange("sizes", "0 in all", "at least one thing looked at")
    mean = float(found.sum() / size.sum())
    some = size > 0
    share = np.divide(found, size, out=np.full(size.shape, np.nan), where=some)
    reach = np.divide(3 * sqrt(mean * (1 - mean)), np.sqrt(size), out=np.ones(size.shape), where=some)
    low, high = np.maximum(mean - reach, 0), np.minimum(mean + reach, 1)
    return Shares(share, low, high, _outside(share, low, high), mean)


def pareto(counts: Mapping[str, int]) -> list[ParetoRow]:
    """The counts from the largest down, equal ones by their key, each with its share and the share so far.

    What was never counted is left out. OutOfRange for a count below 0.
    """
    if min(counts.values(), default=0) < 0:
        raise OutOfRange("count", min(counts.values()), "0 or more")
    total, so_far, rows = sum(counts.values()), 0, []
    for key, count in sorted(counts.items(), key=lambda each: (-each[1], each[0])):
        if count:
            so_far += count
            rows.append(ParetoRow(key, count, count / total, so_far / total))
    return rows


def wilson(hits: int, size: int, level: float = 0.95) -> tuple[float, float]:
    """Between which shares the true one may lie when `hits` of `size` were seen; good for few and for none, too.

    Wilson, J Am Stat Assoc 1927;22(158):209-212, without correction for continuity. OutOfRange for a size of 0, for
    hits that are no part of it and for a level that is not between 0 and 1.
    """
    if size < 1:
        raise OutOfRange("size", size, "at least 1")
    if not 0 <= hits <= size:
        raise OutOfRange("hits", hits, f"from 0 to {size}")
    if not 0 < level < 1:
        raise OutOfRange("level", level, "between 0 and 1, such as 0.95")
    z, share = NormalDist().inv_cdf((1 + level) / 2), hits / size
    middle = share + z * z / (2 * size)
    reach = z * sqrt(share * (1 - share) / size + z * z / (4 * size * size))
    low, high = ((middle + way * reach) / (1 + z * z / size) for way in (-1, 1))
    # At the ends the two terms are the same number but for rounding.
    return (0.0 if hits == 0 else low), (1.0 if hits == size else high)


def _outside(values: NDArray[Any], low: ArrayLike, high: ArrayLike) -> tuple[int, ...]:
    # A share of nothing (nan) compares as not outside.
    return tuple(int(place) for place in np.flatnonzero((values < low) | (values > high)))
