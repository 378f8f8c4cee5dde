"""How long something lasts when part of it is not over yet: the Kaplan-Meier curve, its bands and its percentiles.

The finished alone flatter: what lies about longest is not among them. Here an open duration counts as "at least so
long", so that the slow ones pull the curve up from the day they are slow. Percentiles of the finished alone are in
percentiles.py.
"""

from statistics import NormalDist
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.trade import OutOfRange

Numbers = NDArray[Any]
_DENSE = 4_000_000
"""Whole minutes below this (7.6 years) are counted by a table, which is some twenty times faster than by sorting."""
_HAIR = 1e-9
"""Far above what rounding adds to a curve of millions, far below a step of it."""


class Counted(NamedTuple):
    """Durations as a database groups them: each of `minutes` came `times` times. Same shape, any order."""

    minutes: ArrayLike
    times: ArrayLike


class Survival(NamedTuple):
    """The share that lasts longer than t; one entry for each time at which something ended, in rising order.

    Before the first of `minutes` the share is 1, and between two entries it stays as it is. Past `longest` nothing is
    known, however far above 0 the curve ends.
    """

    minutes: Numbers
    survival: Numbers
    """S(t), just after t."""
    at_risk: Numbers
    """How many had lasted until just before t; one that was still open at t is among them."""
    ended: Numbers
    """How many ended at t."""
    low: Numbers
    high: Numbers
    """The pointwise band: of one time, not of the whole curve at once."""
    count: int  # type: ignore[assignment]  # a tuple's own count() is not wanted here
    """All durations, of which `open` have not ended."""
    open: int
    longest: float
    """The longest duration looked at, ended or open."""


def survival(ended: ArrayLike | Counted, open: ArrayLike | Counted = (), *, level: float = 0.95) -> Survival:
    """The curve of durations that ended and of durations that were `open` when last looked at, in minutes, 0 or more.

    Product-limit estimate: Kaplan & Meier, J Am Stat Assoc 1958;53(282):457-481. What is open at t ended after t.
    The band is Greenwood's variance (1926) taken to the scale of log(-log S) (Kalbfleisch & Prentice, The Statistical
    Analysis of Failure Time Data, 1980). S plus and minus some standard errors would leave 0 to 1 and be too narrow
    with few durations; on that scale it can't leave, and it holds its level from about 25 durations on (Borgan &
    Liestol, Scand J Stat 1990;17:35-41, from memory). Where all have ended, the scale ends, too: the upper limit stays
    as it was. OutOfRange without a duration, for one that is negative or no finite number, and for a level that is
    not between 0 and 1.
    """
    _check_level(level)
    times, over = _counted(ended)
    open_times, waiting = _counted(open)
    count, still = int(over.sum()), int(waiting.sum())
    if not count + still:
        raise OutOfRange("count", 0, "at least one duration")
    longest = max(each[-1] for each in (times, open_times) if len(each))
    gone = np.concatenate([[0], np.cumsum(waiting)])[np.searchsorted(open_times, times)]
    at_risk = count + still - gone - (np.cumsum(over) - over)
    curve = _product_limit(at_risk, over)
    low, high = _band(curve, at_risk, over, level)
    return Survival(times, curve, at_risk, over, low, high, count + still, still, float(longest))


def quantile(curve: Survival, p: float) -> float | None:
    """The shortest time in which `p` percent have ended (0 to 100): the first t with S(t) <= 1 - p / 100.

    None where the curve does not come down so far: it can't be known yet. Without open durations this is the smallest
    value with `p` percent at or below it (type 1 of Hyndman & Fan), which the naive percentile (type 7) lies near.
    """
    return _first_at_or_below(curve, curve.survival, p)


def quantile_band(curve: Survival, p: float) -> tuple[float | None, float | None]:
    """Shortest and longest time that may be the `p` percentile, at the curve's level; None: not known how long.

    The times at which the pointwise band holds 1 - p / 100: Brookmeyer & Crowley, Biometrics 1982;38(1):29-41.
    """
    return _first_at_or_below(curve, curve.low, p), _first_at_or_below(curve, curve.high, p)


def standing(entered: ArrayLike, left: ArrayLike, at: ArrayLike) -> Numbers:
    """How many were inside at each instant of `at`: entered at or before it and not left by then.

    `entered` and `left` are of one clock and need not be in one order; of what is inside still, `left` has no entry.
    Whoever leaves at an instant is out at it. Summed over every minute this is the sum of all stays, which is
    Little's law (Oper Res 1961;9(3):383-387): L = lambda W, exactly, for a log that begins and ends empty.
    """
    came, went, when = np.sort(np.asarray(entered)), np.sort(np.asarray(left)), np.asarray(at)
    return np.searchsorted(came, when, side="right") - np.searchsorted(went, when, side="right")


def _counted(durations: ArrayLike | Counted) -> tuple[Numbers, Numbers]:
    """The different times in rising order, and how often each came."""
    if isinstance(durations, Counted):
        return _merged(np.asarray(durations.minutes), np.asarray(durations.times, dtype=np.int64))
    minutes = np.asarray(durations)
    _check(minutes)
    whole = minutes.size and np.issubdtype(minutes.dtype, np.signedinteger)
    if whole and minutes.max() < min(_DENSE, 64 * minutes.size):
        counts = np.bincount(minutes)
        different = np.flatnonzero(counts)
        return different, counts[different]
    different, counts = np.unique(minutes, return_counts=True)
    return different, counts


def _merged(minutes: Numbers, times: Numbers) -> tuple[Numbers, Numbers]:
    """As a database may group by more than the duration, one of them may come in several rows."""
    _check(minutes)
    if (times < 0).any():
        raise OutOfRange("times", int(times.min()), "0 or more")
    different, place = np.unique(minutes[times > 0], return_inverse=True)
    counts = np.zeros(len(different), dtype=np.int64)
    np.add.at(counts, place, times[times > 0])
    return different, counts


def _product_limit(at_risk: Numbers, ended: Numbers) -> Numbers:
    """S as the share of the first at risk that is left, times what each loss of open ones in between makes up for.

    Written so, each factor is exactly 1 where nothing was open, and the curve is then exactly the share that is left.
    """
    left = at_risk - ended
    made_up = np.concatenate([[1.0], left[:-1] / at_risk[1:]]).cumprod()[: len(left)]
    share: Numbers = left / at_risk[:1] * made_up
    return share


def _band(curve: Numbers, at_risk: Numbers, ended: Numbers, level: float) -> tuple[Numbers, Numbers]:
    some_left = curve > 0
    n, d, s = (each[some_left].astype(np.float64) for each in (at_risk, ended, curve))
    log = np.log(s)
    # Greenwood's variance of log S, taken to the scale of log(-log S) by dividing by log S.
    widening = np.exp(NormalDist().inv_cdf((1 + level) / 2) * np.sqrt(np.cumsum(d / (n * (n - d)))) / -log)
    low, high = np.zeros(len(curve)), np.ones(len(curve))
    low[some_left], high[some_left] = np.exp(log * widening), np.exp(log / widening)
    if len(curve) > 1 and not some_left[-1]:
        high[-1] = high[-2]
    return low, high


def _first_at_or_below(curve: Survival, values: Numbers, p: float) -> float | None:
    if not 0 <= p <= 100:
        raise OutOfRange("percentile", p, "from 0 to 100")
    # A hair of room, because .1 and 1 - .9 are not the same number; below nothing there is none.
    reached = np.flatnonzero(values <= (100 - p) / 100 * (1 + _HAIR))
    return float(curve.minutes[reached[0]]) if len(reached) else None


def _check(minutes: Numbers) -> None:
    if not minutes.size:
        return
    if not np.isfinite(minutes).all():
        raise OutOfRange("durations", "partly no number", "finite numbers")
    if minutes.min() < 0:
        raise OutOfRange("durations", minutes.min(), "0 minutes or more")


def _check_level(level: float) -> None:
    if not 0 < level < 1:
        raise OutOfRange("level", level, "between 0 and 1, such as 0.95")
