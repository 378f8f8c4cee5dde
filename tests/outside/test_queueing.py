"""Queues against the formulas of the textbooks, in the long run of many runs, and Little's law on every path.

Arrivals are a Poisson process: what leaves a server that is never idle and takes exponential times. Each figure has to
lie within 4 standard errors of its formula by the spread of its runs, which have nothing in common; the error may be
2.5 % of it at most, so that a queue of another kind does not pass.
"""

from datetime import UTC, datetime, time
from math import factorial

import numpy as np
import pytest
from numpy.typing import NDArray

from app.trade.queueing import Clock, Jobs, Stage, simulate
from app.trade.worktime import WorkCalendar

Paths = NDArray[np.float64]
CLOCK = Clock(WorkCalendar("UTC", (((time(0), time(0)),),) * 7), datetime(2026, 1, 1, tzinfo=UTC))
EXPONENTIAL = -np.log1p(-(np.arange(50_000) + 0.5) / 50_000)
"""Evenly spaced percentiles of mean 1."""
RUNS, CUSTOMERS = 384, 2_500
SEED = 7
SETTLED = 0.25
"""The part of a path that is left out at either end."""


def paths(stage: Stage, rate: float, runs: int = RUNS) -> tuple[Paths, Paths]:
    """When each customer of each run comes to the stage, `rate` of them a minute, and leaves it."""
    jobs = Jobs(np.tile([0, 1], (CUSTOMERS, 1)), *np.zeros((3, CUSTOMERS)))
    source = Stage(1, EXPONENTIAL / rate)
    comes = simulate([source], jobs._replace(route=np.zeros((CUSTOMERS, 1), dtype=int)), CLOCK, runs=runs, seed=SEED)
    return comes.astype(float), simulate([source, stage], jobs, CLOCK, runs=runs, seed=SEED).astype(float)


def settled(by_customer: Paths) -> Paths:
    """Each run's mean over the customers in the middle."""
    edge = int(CUSTOMERS * SETTLED)
    means: Paths = by_customer[:, edge:-edge].mean(axis=1)
    return means


def here(comes: Paths, leaves: Paths) -> Paths:
    """How many are there, by run and at many times in the middle."""
    times = np.linspace(SETTLED, 1 - SETTLED, 2_000) * comes[:, -1].min()
    leaves = np.sort(leaves, axis=1)
    return np.array(
        [np.searchsorted(c, times) - np.searchsorted(gone, times) for c, gone in zip(comes, leaves, strict=True)]
    )


def agrees(by_run: Paths, expected: float) -> None:
    error = by_run.std(ddof=1) / RUNS**0.5
    assert error < 0.025 * expected
    assert abs(by_run.mean() - expected) < 4 * error, f"{by_run.mean():.4g} +- {error:.2g}, not {expected:.4g}"


def test_one_server_with_exponential_times_at_four_fifths() -> None:
    """M/M/1 at .8 and 1 a minute: L 4, W 5, Lq 3.2, Wq 4 (a textbook's worked exercise)."""
    comes, leaves = paths(Stage(1, EXPONENTIAL), 0.8)
    before = np.pad(leaves, ((0, 0), (1, 0)))[:, :-1]
    agrees(settled(leaves - comes), 5)
    agrees(settled(np.maximum(before - comes, 0)), 4)
    agrees(here(comes, leaves).mean(axis=1), 4)
    agrees(np.maximum(here(comes, leaves) - 1, 0).mean(axis=1), 3.2)


def test_with_times_always_the_same_the_wait_is_half_as_long() -> None:
    """M/D/1: Wq = rate E[S^2] / 2 (1 - load), after Pollaczek and Khinchine; half of the 4 of exponential times."""
    comes, leaves = paths(Stage(1, [1.0]), 0.8)
    agrees(settled(leaves - comes - 1), 2)


@pytest.mark.parametrize("servers", [2, 3])
def test_several_servers_make_wait_as_erlang_says(servers: int) -> None:
    load = 0.75 * servers
    comes, leaves = paths(Stage(servers, EXPONENTIAL), load)
    waits = erlang_c(servers, load)
    agrees(settled(leaves - comes), 1 + waits / (servers - load))
    agrees((here(comes, leaves) >= servers).mean(axis=1), waits)
    agrees(np.maximum(here(comes, leaves) - servers, 0).mean(axis=1), waits * load / (servers - load))


def erlang_c(servers: int, load: float) -> float:
    """The chance to wait in M/M/c: a^c/c! c/(c-a) over itself and the sum of a^k/k! for k < c (a: `load`)."""
    all_busy = load**servers / factorial(servers) * servers / (servers - load)
    return all_busy / (sum(load**k / factorial(k) for k in range(servers)) + all_busy)


def test_those_who_go_first_wait_as_cobham_says() -> None:
    """Two classes at .3 each, not interrupting one another: R/(1-.3) and R/((1-.3)(1-.6)), R = rate E[S^2] / 2 = .6
    (A. Cobham, Operations Research 1954;2(1):70-76; the formula from memory).

    Here each comes at an even chance at any time, which is a Poisson process in the middle of so many.
    """
    anytime = Stage(0, np.linspace(0, CUSTOMERS / 0.6, 50_000))
    order = np.arange(CUSTOMERS) % 2
    jobs = Jobs(np.tile([0, 1], (CUSTOMERS, 1)), np.zeros(CUSTOMERS), np.zeros(CUSTOMERS), order)
    comes = simulate([anytime], jobs._replace(route=np.zeros((CUSTOMERS, 1), dtype=int)), CLOCK, runs=RUNS, seed=SEED)
    leaves = simulate([anytime, Stage(1, EXPONENTIAL)], jobs, CLOCK, runs=RUNS, seed=SEED)
    middle = abs(comes / comes.max() - 0.5) < 0.5 - SETTLED / 2
    for place, expected in ((0, 0.6 / 0.7), (1, 0.6 / (0.7 * 0.4))):
        mine = middle & (order == place)
        agrees(1 + (np.where(mine, leaves - comes - 1, 0).sum(axis=1) / mine.sum(axis=1)), 1 + expected)


def test_little_s_law_holds_of_each_path_exactly() -> None:
    """The area under the number of those here, from one coming or leaving to the next, is the sum of their stays."""
    comes, leaves = paths(Stage(2, EXPONENTIAL, back=0.1, back_minutes=EXPONENTIAL * 5), 1.5, runs=20)
    for came, left in zip(comes, leaves, strict=True):
        at = np.concatenate([came, left])
        steps = np.repeat([1, -1], CUSTOMERS)[np.argsort(at, kind="stable")]
        number = np.cumsum(steps)
        assert number.min() >= 0
        assert number[-1] == 0
        assert (number[:-1] * np.diff(np.sort(at))).sum() == pytest.approx((left - came).sum(), rel=1e-9)
