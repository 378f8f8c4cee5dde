"""What moving one pair forward does to it and to the others.

Both worlds meet the same luck, so that they differ by the order alone.
"""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.trade.queueing import simulate
from app.turnaround.rules.forecast.line import LINE
from app.turnaround.rules.forecast.made import SEED, clock_of, runs_for
from app.turnaround.rules.forecast.odds import Days, chance, hundredths
from app.turnaround.rules.forecast.standing import Snapshot, jobs, stages
from app.turnaround.rules.forecast.trusted import Learnt, trusted

RUNS, CELLS = 200, 400_000
HARM = 5
"""In a hundred: by so much the chance of keeping a promise has to fall to be told."""
NOTICED = 15.0
"""Minutes on average; of less, nobody says that a pair comes later."""


class Moved(NamedTuple):
    """What becomes of a pair that goes first, and of the others."""

    before: Days
    after: Days
    runs: int
    others: int
    later: int
    """How many others come later, by how many minutes by the clock on average, and by how many whichever loses most."""
    later_minutes: int
    most_minutes: int
    harmed: tuple[tuple[str, int, int], ...]
    """Codes of pairs whose chance of keeping their promise falls, from and to what in a hundred."""


def go_first(snapshot: Snapshot, number: int, hurried: Mapping[str, NDArray[np.float64]], learnt: Learnt) -> Moved:
    """`number` is the pair's place among those standing; `hurried` are stays of rush pairs, where enough are known.

    Whole stays hold the usual waiting. What a pair takes that does not wait, the lab's own rush pairs have shown.
    """
    pairs = snapshot.standing
    runs = runs_for(len(pairs), CELLS, RUNS)
    clock, lab, at = clock_of(snapshot), stages(snapshot), snapshot.at
    before = simulate(lab, jobs(pairs, at, snapshot.calendar), clock, runs=runs, seed=SEED)
    after = simulate(lab, jobs(pairs, at, snapshot.calendar, first=number), clock, runs=runs, seed=SEED)
    alone = [
        stage._replace(floor=hurried[place]) if place in hurried else stage
        for place, stage in zip(LINE, lab, strict=True)
    ]
    own = jobs([pairs[number]], at, snapshot.calendar)
    quick = simulate(alone, own, clock, runs=runs, seed=SEED) if hurried else after[:, [number]]
    horizons = [each.horizon for each in pairs]
    days = [trusted(hundredths(each, at, snapshot.calendar), horizons, learnt) for each in (before, after)]
    mine = trusted(
        hundredths(np.minimum(quick, after[:, [number]]), at, snapshot.calendar), [horizons[number]], learnt
    )[0]
    others = np.arange(len(pairs)) != number
    lost = (after - before).mean(axis=0)[others]
    late = lost[lost >= NOTICED]
    harmed = [
        (pair.code, *odds)
        for place, pair in enumerate(pairs)
        if place != number and pair.promised_on and (odds := _fallen(days, place, pair.promised_on))
    ]
    return Moved(
        days[0][number],
        mine,
        runs,
        int(others.sum()),
        len(late),
        round(float(late.mean())) if len(late) else 0,
        round(float(late.max())) if len(late) else 0,
        tuple(harmed),
    )


def _fallen(days: Sequence[Days], place: int, promised: date) -> tuple[int, int] | None:
    was, becomes = (chance(each[place], promised) for each in days)
    return (was, becomes) if was - becomes >= HARM else None
