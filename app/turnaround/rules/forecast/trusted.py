"""How forecasts are put right by what came of earlier ones; how they held then is counted in scored.py.

A forecast gives each day a chance. What chance it gave the days before the one that came says where in the forecast the
truth lay; over many forecasts these places would lie evenly if the chances were right. Where they do not, the level
that held so often is used instead of the one that was asked (recalibration by the probability integral transform:
Dawid, J R Stat Soc A 1984;147:278-292; Kuleshov et al., ICML 2018, from memory). Only what was known before is learnt
from.
"""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.trade.estimates import quantile, survival
from app.turnaround.rules.forecast.odds import PARTS, Days
from app.turnaround.rules.forecast.standing import Horizon

Shares = NDArray[np.float64]
ENOUGH = 100
"""Earlier forecasts that a level is learnt from; with fewer of a horizon, those of the next ones are taken in."""
LEAST = 100
"""With fewer in all nothing is put right: the raw forecast stands."""
WEEKS = 26
"""How far back is learnt from: a lab changes."""
ELSEWHERE = 3
"""A forecast from another stage counts as so many stages further off than one from the same."""
NOT_YET = 0
"""No day: it has not arrived."""


class Foretold(NamedTuple):
    """Forecasts made at one time and what came of them, an entry each; days by number."""

    made_on: int
    pair: NDArray[np.int64]
    place: NDArray[np.int64]
    left: NDArray[np.int64]
    """Stages left: the horizon."""
    raw: Days
    """(forecasts, 100)"""
    by_stage: Days
    """The plain forecast by the median of the last days from the same stage."""
    fixed: Days
    """The plain forecast by the route's standard number of working days."""
    came: Days
    """NOT_YET where it has not."""


class Curve(NamedTuple):
    """For each of a hundred chances the raw level that held so often, and of how many it is known."""

    raw: Shares
    known: int


Learnt = Mapping[Horizon, Curve]
"""What earlier forecasts taught; nothing where they are too few."""


class _Places(NamedTuple):
    """Where in each forecast the truth lay, whether that is known already, and the horizon."""

    where: Shares
    known: NDArray[np.bool_]
    place: NDArray[np.int64]
    left: NDArray[np.int64]


def _places(made: Sequence[Foretold], today: int) -> _Places:
    """As it is known by the morning of `today`.

    Of what had not come by then it is only known that it lies beyond what was foretold for the days that have passed.
    """
    came = np.concatenate([each.came for each in made])
    known = (came != NOT_YET) & (came < today)
    raw = np.concatenate([each.raw for each in made])
    where = (raw < np.where(known, came, today)[:, None]).mean(axis=1)
    return _Places(
        where, known, *(np.concatenate([getattr(each, name) for each in made]) for name in ("place", "left"))
    )


def learn(made: Sequence[Foretold], today: int) -> Learnt:
    """By place and stages left, from the forecasts that were made in the last weeks before `today`."""
    lately = [each for each in made if today - 7 * WEEKS <= each.made_on < today]
    if not lately:
        return {}
    seen = _places(lately, today)
    if seen.known.sum() < LEAST:
        return {}
    horizons = np.unique(np.stack([seen.place, seen.left]), axis=1).T.tolist()
    return {(place, left): _curve(seen, place, left) for place, left in horizons}


def _curve(seen: _Places, place: int, left: int) -> Curve:
    """From the nearest horizons that together have enough; what is open counts as at least so far (Kaplan-Meier)."""
    far = np.abs(seen.left - left) + ELSEWHERE * (seen.place != place)
    reach = next((off for off in range(int(far.max()) + 1) if seen.known[far <= off].sum() >= ENOUGH), far.max())
    mine = far <= reach
    estimate = survival(seen.where[mine & seen.known], seen.where[mine & ~seen.known])
    levels = [quantile(estimate, min(number + 1.0, PARTS - 0.5)) for number in range(PARTS)]
    return Curve(np.array([1.0 if level is None else level for level in levels]), int((mine & seen.known).sum()))


def trusted(raw: Days, horizons: Sequence[Horizon], learnt: Learnt) -> Days:
    """The forecasts put right: for each chance the day of the raw level that held so often at its horizon."""
    right = raw.copy()
    if not learnt:
        return right
    asked = np.array(horizons, dtype=np.int64).reshape(-1, 2)
    for place, left in np.unique(asked, axis=0).tolist():
        curve = learnt[_nearest((place, left), learnt)]
        # With so many of the hundred days before the one that came, the next of them is the first that holds.
        index = np.minimum((curve.raw * PARTS).round().astype(int), PARTS - 1)
        mine = (asked == (place, left)).all(axis=1)
        right[mine] = raw[mine][:, index]
    return right


def _nearest(horizon: Horizon, learnt: Learnt) -> Horizon:
    return min(learnt, key=lambda each: abs(each[1] - horizon[1]) + ELSEWHERE * (each[0] != horizon[0]))
