"""When each pair gets where it goes: the lab's queues walked into the future many times over, and what that says.

Pure numbers: which pairs there are, what they took lately and how many are worked at once is told by whoever asks; what
is promised from the answer is decided where turnaround is reported.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.trade.queueing.checks import check
from app.trade.queueing.clocks import Clock, Minutes
from app.trade.queueing.draws import TOGETHER, Chances, For, Luck, Times
from app.trade.queueing.line import Places, starts
from app.trade.queueing.reading import chance_by, costliest, percentiles

__all__ = ["Clock", "Jobs", "Stage", "chance_by", "costliest", "percentiles", "simulate", "simulate_stays"]

Answers = NDArray[np.float32]
CELLS = 2_100_000
"""Runs times jobs that are walked at once: about 100 MB."""


class Stage(NamedTuple):
    """All minutes are of the stage's clock: working minutes, or by the clock where `working` is false."""

    servers: int
    """How many are worked on at once; with 0 nobody waits for anybody, and `minutes` are whole stays."""
    minutes: ArrayLike
    """Own recent times of the work itself to draw from; empty: it takes none."""
    floor: ArrayLike = ()
    """Own recent whole stays: nothing leaves sooner after it came than one drawn of these says."""
    working: bool = True
    back: float = 0.0
    """Chance that what is done here is sent back, once: it leaves later by a drawn `back_minutes`, at least by the
    second working, which takes the server right after the first."""
    back_minutes: ArrayLike = ()
    closed_until: ArrayLike = ()
    """Minutes from now until a server is there, one for each that is not there now."""


class Jobs(NamedTuple):
    route: ArrayLike
    """(jobs, steps) places in the stages, rising, -1 when over; at least one step each."""
    waited: ArrayLike
    """Minutes already at its first step, of that stage's clock; 0 also when it has not come yet."""
    free_at: ArrayLike
    """Minutes by the clock from now until it comes, or until it can go on where it is."""
    order: ArrayLike
    """The lower is first in line at every stage; among equals who came first, then whose place is first."""


def simulate(stages: Sequence[Stage], jobs: Jobs, clock: Clock, *, runs: int, seed: int) -> Answers:
    """Minutes by the clock from now until each job leaves its last step, a row for each run.

    Stage by stage in their order, which every route follows. Under way is not told from waiting: what stands at a bench
    now is worked from the start. The same seed gives the same answer, and its first runs whatever the number of runs.
    """
    return _simulated(stages, jobs, clock, runs, seed, None)


def simulate_stays(
    stages: Sequence[Stage], jobs: Jobs, clock: Clock, *, runs: int, seed: int
) -> tuple[Answers, NDArray[np.float64]]:
    """As `simulate`, and beside it the mean minutes by the clock of each job at each stage: (jobs, stages).

    A row adds up to the mean time from `free_at` on; a stage that is not on the route costs nothing.
    """
    stays = np.zeros((np.size(jobs.order), len(stages)))
    return _simulated(stages, jobs, clock, runs, seed, stays), stays


def _simulated(
    stages: Sequence[Stage], jobs: Jobs, clock: Clock, runs: int, seed: int, stays: Minutes | None
) -> Answers:
    check(stages, jobs, runs, seed)
    if not np.size(jobs.order):
        return np.empty((runs, 0), dtype=np.float32)
    lab = _Lab(stages, jobs, clock, seed)
    leaves = np.empty((runs, len(lab.route)), dtype=np.float32)
    for some in _portions(runs, len(lab.route)):
        leaves[some.start : some.stop] = lab.walked(some, stays)
    if stays is not None:
        stays /= runs
    return leaves


def _portions(runs: int, jobs: int) -> list[range]:
    """As few as hold at most `CELLS`, about equally long: a step of few runs takes nearly as long as one of many."""
    groups = -(-runs // TOGETHER)
    portions = -(-groups * TOGETHER * jobs // CELLS)
    length = -(-groups // portions) * TOGETHER
    return [range(begin, min(begin + length, runs)) for begin in range(0, runs, length)]


class _Lab:
    """What all runs share."""

    def __init__(self, stages: Sequence[Stage], jobs: Jobs, clock: Clock, seed: int) -> None:
        self.stages, self.clock, self.seed = stages, clock, seed
        self.route = np.asarray(jobs.route, dtype=np.intp)
        self.waited = np.asarray(jobs.waited, dtype=np.float64)
        self.free_at = np.asarray(jobs.free_at, dtype=np.float64)
        self.order: Places = np.unique(np.asarray(jobs.order), return_inverse=True)[1]

    def walked(self, runs: range, stays: Minutes | None) -> Minutes:
        """When each job is through, by the clock; adds the minutes at each stage to `stays`."""
        at = np.tile(self.free_at, (len(runs), 1))
        working = np.zeros(len(self.route), dtype=bool)  # whose minutes in `at` are working minutes
        seen = at.sum(axis=0)
        for number, stage in enumerate(self.stages):
            chosen = (self.route == number).any(axis=1).nonzero()[0]
            if not chosen.size:
                continue
            at[:, chosen] = self._left(number, runs, chosen, self._told(at[:, chosen], working[chosen], stage.working))
            working[chosen] = stage.working
            if stays is not None:
                until = self._told(at[:, chosen], working[chosen], False).sum(axis=0)
                stays[chosen, number] += until - seen[chosen]
                seen[chosen] = until
        return self._told(at, working, False)

    def _told(self, at: Minutes, working: NDArray[np.bool_], as_working: bool) -> Minutes:
        """`at` itself, changed so that all of it is in working minutes, or all by the clock."""
        others = (working != as_working).nonzero()[0]
        if others.size:
            at[:, others] = (self.clock.to_working if as_working else self.clock.to_clock)(at[:, others])
        return at

    def _left(self, number: int, runs: range, chosen: Places, comes: Minutes) -> Minutes:
        """When the chosen jobs leave the stage to which they come, both by its clock."""
        stage = self.stages[number]
        luck = Luck(self.seed, runs, number, len(self.route), chosen)
        waited = np.where(self.route[chosen, 0] == number, self.waited[chosen], 0.0)
        back, again, cost = _sent_back(stage, luck)
        if stage.servers:
            takes = Times(stage.minutes).drawn(luck.chances(For.MINUTES))
            takes[back] += again
            done = starts(comes, takes, self.order[chosen], _free(stage))
            done += takes
            done[back] -= again
        else:
            done = _stayed(stage.minutes, luck.chances(For.MINUTES), waited, comes)
        if np.size(stage.floor):
            np.maximum(done, _stayed(stage.floor, luck.chances(For.FLOOR), waited, comes), out=done)
        done[back] += cost
        return done


def _stayed(stays: ArrayLike, chances: Chances, waited: Minutes, comes: Minutes) -> Minutes:
    """When whole stays are over. What has waited came before now; what can't go on yet leaves at the soonest then."""
    over = Times(stays).left(chances, waited)
    over += np.where(waited > 0, 0.0, comes)
    return np.maximum(over, comes, out=over)


def _free(stage: Stage) -> Minutes:
    free = np.zeros(stage.servers)
    free[: np.size(stage.closed_until)] = stage.closed_until
    return free


def _sent_back(stage: Stage, luck: Luck) -> tuple[tuple[Places, ...], Minutes, Minutes]:
    """Whose runs and places are sent back, what the second working takes, and by how much later they leave."""
    if not stage.back:
        return (np.zeros(0, dtype=np.intp),) * 2, np.zeros(0), np.zeros(0)
    chances = luck.chances(For.BACK)
    back = (chances < stage.back).nonzero()
    # What is below `back` lies evenly there: a second number for nothing.
    again = Times(stage.minutes).drawn(chances[back] / np.float32(stage.back))
    cost = Times(stage.back_minutes).drawn(luck.chances(For.BACK_MINUTES)[back])
    return back, again, np.maximum(again, cost)
