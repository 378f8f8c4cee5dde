"""What a pair's next minutes may be: drawn from own recent times, given how long it has waited already."""

from enum import IntEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.trade.queueing.clocks import Minutes

Chances = NDArray[np.float32]


TOGETHER = 64
"""Runs that draw from one generator; making one takes as long as thousands of numbers."""


class For(IntEnum):
    """What a number is drawn for."""

    MINUTES = 0
    FLOOR = 1
    BACK = 2
    BACK_MINUTES = 3


class Luck:
    """Chances, evenly from 0 to below 1, for the `chosen` of the jobs in each of the runs at one stage.

    Each run, stage and use has numbers of its own, one for each job by its place, whether it comes here or not. So what
    is asked with a job more, with other benches or in other portions meets the same luck, and two answers differ by
    what was changed alone. `runs` begin with a multiple of `TOGETHER`.
    """

    def __init__(self, seed: int, runs: range, stage: int, jobs: int, chosen: NDArray[np.intp]) -> None:
        self._seed, self._runs, self._stage, self._jobs, self._chosen = seed, runs, stage, jobs, chosen

    def chances(self, use: For) -> Chances:
        drawn = np.empty((len(self._runs), len(self._chosen)), dtype=np.float32)
        for begin in range(0, len(self._runs), TOGETHER):
            some = drawn[begin : begin + TOGETHER]
            source = np.random.PCG64((self._seed, self._runs.start + begin, self._stage, use))
            # Job by job: jobs that are added change no number of those before them.
            by_job = np.random.Generator(source).random((self._jobs, TOGETHER), dtype=np.float32)
            some[:] = by_job[self._chosen, : len(some)].T
        return drawn


class Times:
    """Own recent times in rising order; none means that it takes no time."""

    def __init__(self, minutes: ArrayLike) -> None:
        self._minutes: Minutes = np.sort(np.asarray(minutes, dtype=np.float64))
        if not self._minutes.size:
            self._minutes = np.zeros(1)

    def drawn(self, chances: Chances) -> Minutes:
        return self._minutes.take(_places(chances, 0, len(self._minutes)))

    def left(self, chances: Chances, waited: Minutes) -> Minutes:
        """What is still to come of a time that has lasted `waited` minutes, one for each column; of 0, all of it.

        Drawn among the times that were longer. Where none was, it goes on as the last tenth of the times went on beyond
        the longest before them: it is as likely to end as it was when last seen.
        """
        count = len(self._minutes)
        tenth = count - max(1, count // 10)
        before = self._minutes[tenth - 1] if tenth else 0.0
        first = np.where(waited > 0, np.searchsorted(self._minutes, waited, side="right"), 0)
        beyond = first == count
        drawn = self._minutes.take(_places(chances, np.where(beyond, tenth, first), count))
        drawn -= np.where(beyond, before, waited)
        return drawn


def _places(chances: Chances, first: "int | NDArray[np.intp]", count: int) -> NDArray[np.intp]:
    """Evenly from `first` to below `count`; reckoned in float64, in which the product stays below."""
    places = chances * np.subtract(count, first, dtype=np.float64)
    places += first
    return places.astype(np.intp)
