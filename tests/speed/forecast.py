"""How fast is a forecast of a lab's pairs with queues and calendar, against the same lab in SimPy?

SimPy walks one run at a time, so a few are timed; it gets its times and the open hours as plain lists. The two have to
come to the same days, or they were not the same lab.
"""

import random
import time
from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from datetime import time as wall
from statistics import mean
from typing import Any

import numpy as np
import simpy

from app.trade.queueing import Clock, Jobs, Stage, percentiles, simulate
from app.trade.worktime import WorkCalendar
from tests.speed.report import Line

PAIRS, RUNS, THEIR_RUNS = 2_000, 1_000, 20
NOW = datetime(2026, 11, 24, 10, tzinfo=UTC)
CALENDAR = WorkCalendar("Europe/Lisbon", (((wall(8), wall(12)), (wall(13), wall(17))),) * 5 + ((), ()))
BENCHES = (2, 3, 0, 3, 4, 2, 3, 2, 2, 0)
"""How many are worked on at once, by stage; 0 sets or travels by the clock."""
TIMES = ("minutes", "floor", "back_minutes")
MOST_APART = 0.01
"""Of the mean time until a pair is there."""


def forecast() -> Iterator[Line]:
    stages, jobs = _lab()
    ours, leaves = [], np.empty(0, dtype=np.float32)
    for _ in range(3):
        start = time.perf_counter()
        leaves = simulate(stages, jobs, Clock(CALENDAR, NOW), runs=RUNS, seed=7)
        percentiles(leaves)
        ours.append(time.perf_counter() - start)
    start = time.perf_counter()
    theirs = [_Simpy(stages, jobs, seed).leaves() for seed in range(THEIR_RUNS)]
    taken = (time.perf_counter() - start) * RUNS / THEIR_RUNS
    apart = mean(map(mean, theirs)) / leaves.mean(dtype=np.float64) - 1
    if abs(apart) > MOST_APART:
        raise SystemExit(f"SimPy's pairs are there {apart:.1%} later: it is not the same lab.")
    work = f"forecast of {PAIRS} pairs, {RUNS} runs, {len(stages)} stages"
    yield Line(work, f"{min(ours):.2f} s", f"SimPy {taken:.0f} s, of {THEIR_RUNS} runs", taken / min(ours), 20)


def _lab() -> tuple[list[Stage], Jobs]:
    """Half of the pairs are spread over the stages, the others are ordered in the eight weeks to come."""
    chance = np.random.default_rng(7)
    stages = [
        Stage(servers, chance.gamma(2, 12, 400), chance.gamma(2, 100, 400), True, 0.05, chance.gamma(2, 200, 80))
        if servers
        else Stage(0, chance.gamma(3, 600, 400), working=False)
        for servers in BENCHES
    ]
    first = np.where(np.arange(PAIRS) % 2, chance.integers(0, len(BENCHES), PAIRS), 0)
    steps = first[:, None] + np.arange(len(BENCHES))
    free_at = np.where(np.arange(PAIRS) % 2, 0, chance.integers(0, 8 * 7 * 24 * 60, PAIRS))
    due = (free_at // (24 * 60) + 20 - 2 * first).astype(int)
    return stages, Jobs(np.where(steps < len(BENCHES), steps, -1), np.zeros(PAIRS), free_at, due)


class _Simpy:
    """One run."""

    def __init__(self, stages: list[Stage], jobs: Jobs, seed: int) -> None:
        self._chance = random.Random(seed)
        self._world: Any = simpy.Environment()
        self._stages: list[Any] = [
            stage._replace(**{name: np.asarray(getattr(stage, name)).tolist() for name in TIMES}) for stage in stages
        ]
        self._benches = [simpy.PriorityResource(self._world, stage.servers or 1) for stage in stages]
        columns = (np.asarray(column).tolist() for column in (jobs.route, jobs.free_at, jobs.order))
        self._jobs = list(zip(*columns, strict=True))
        open_spans = CALENDAR.open_spans(NOW, NOW + timedelta(days=400))
        self._opens = [(opens - NOW) / timedelta(minutes=1) for opens, _ in open_spans]
        self._closes = [(closes - NOW) / timedelta(minutes=1) for _, closes in open_spans]
        self._worked = [0.0]
        for opens, closes in zip(self._opens, self._closes, strict=True):
            self._worked.append(self._worked[-1] + closes - opens)

    def leaves(self) -> list[float]:
        there: list[float] = []
        for route, free_at, order in self._jobs:
            self._world.process(self._pair(route, free_at, order, there))
        self._world.run()
        return there

    def _pair(self, route: list[int], free_at: float, order: int, there: list[float]) -> Iterator[Any]:
        world, choice = self._world, self._chance.choice
        yield world.timeout(free_at)
        for place in route:
            if place < 0:
                break
            stage = self._stages[place]
            if not stage.servers:
                yield world.timeout(choice(stage.minutes))
                continue
            came = world.now
            yield from self._until(self._open(came))
            sent_back = self._chance.random() < stage.back
            again = choice(stage.minutes) if sent_back else 0.0
            with self._benches[place].request(priority=order) as turn:
                yield turn
                yield from self._until(self._after(world.now, choice(stage.minutes)))
                left = max(world.now, self._after(came, choice(stage.floor)))
                yield from self._until(self._after(world.now, again))
            if sent_back:
                left = self._after(left, max(again, choice(stage.back_minutes)))
            yield from self._until(left)
        there.append(world.now)

    def _until(self, at: float) -> Iterator[Any]:
        if at > self._world.now:
            yield self._world.timeout(at - self._world.now)

    def _open(self, at: float) -> float:
        """The instant itself if the lab is open."""
        span = bisect_right(self._closes, at)
        return max(at, self._opens[span])

    def _after(self, at: float, minutes: float) -> float:
        span = bisect_right(self._opens, at) - 1
        wanted = self._worked[span] + min(at, self._closes[span]) - self._opens[span] + minutes
        if not minutes:
            return at
        span = bisect_left(self._worked, wanted) - 1
        return self._opens[span] + wanted - self._worked[span]
