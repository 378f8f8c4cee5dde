"""What many runs say about each job: a span of days, a chance, and the stage that costs it most."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.trade import OutOfRange

ASKED = (50.0, 85.0, 95.0)


def percentiles(leaves: NDArray[np.float32], asked: tuple[float, ...] = ASKED) -> NDArray[np.float64]:
    """(asked, jobs): the minutes within which so many per cent of the runs have each job there; type 7."""
    _some(leaves)
    if not all(0 <= p <= 100 for p in asked):
        raise OutOfRange("percentile", asked, "from 0 to 100")
    # A run's row becomes a job's: neighbours in memory are sorted several times as fast.
    by_job = np.ascontiguousarray(leaves.T, dtype=np.float64)
    within: NDArray[np.float64] = np.percentile(by_job, asked, axis=1, method="linear", overwrite_input=True)
    return within


def chance_by(leaves: NDArray[np.float32], by: ArrayLike) -> NDArray[np.float64]:
    """The part of the runs in which each job is there by so many minutes, one for all or one for each."""
    _some(leaves)
    there: NDArray[np.float64] = (leaves <= np.asarray(by, dtype=np.float64)).mean(axis=0)
    return there


def costliest(stays: NDArray[np.float64]) -> NDArray[np.intp]:
    """The place of the stage that costs each job most, of the mean minutes by `simulate_stays`; the first of equals."""
    places: NDArray[np.intp] = stays.argmax(axis=1)
    return places


def _some(leaves: NDArray[np.float32]) -> None:
    if not len(leaves):
        raise OutOfRange("runs", 0, "at least one")
