"""What can't be a lab or its jobs is refused by name before anything is drawn."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.trade import OutOfRange, within

if TYPE_CHECKING:
    from app.trade.queueing import Jobs, Stage

MOST_RUNS = 100_000
MOST_SERVERS = 10_000


def check(stages: "Sequence[Stage]", jobs: "Jobs", runs: int, seed: int) -> None:
    within("runs", runs, 1, MOST_RUNS, "runs")
    if seed < 0:
        raise OutOfRange("seed", seed, "0 or more")
    for number, stage in enumerate(stages):
        _check_stage(f"stage {number}: ", stage)
    count = np.size(jobs.order)
    for name in ("waited", "free_at", "order"):
        _check_numbers(name, getattr(jobs, name), negative=name == "order")
        if np.shape(getattr(jobs, name)) != (count,):
            raise OutOfRange(name, f"of shape {np.shape(getattr(jobs, name))}", f"one number for each of {count} jobs")
    _check_routes(np.asarray(jobs.route), count, len(stages))


def _check_stage(where: str, stage: "Stage") -> None:
    within(where + "servers", stage.servers, 0, MOST_SERVERS, "servers")
    within(where + "back", stage.back, 0, 1, "of all")
    for name in ("minutes", "floor", "back_minutes", "closed_until"):
        _check_numbers(where + name, getattr(stage, name))
    if np.size(stage.closed_until) > stage.servers:
        raise OutOfRange(
            where + "closed_until", f"for {np.size(stage.closed_until)} servers", f"for {stage.servers} at most"
        )


def _check_numbers(field: str, numbers: ArrayLike, *, negative: bool = False) -> None:
    held = np.asarray(numbers, dtype=np.float64)
    wrong = held[~np.isfinite(held) | (not negative) & (held < 0)]
    if held.ndim != 1:
        raise OutOfRange(field, f"of {held.ndim} dimensions", "a plain row of numbers")
    if wrong.size:
        raise OutOfRange(field, f"partly {wrong[0]:g}", "finite numbers" if negative else "finite numbers, 0 or more")


def _check_routes(route: NDArray[np.int_], jobs: int, stages: int) -> None:
    if not jobs:
        return
    if route.dtype.kind != "i" or route.ndim != 2 or len(route) != jobs or not route.shape[1]:
        shown = f"of shape {route.shape} and type {route.dtype}"
        raise OutOfRange("route", shown, f"a row of whole numbers for each of {jobs} jobs")
    if route.min() < -1 or route.max() >= stages:
        raise OutOfRange("route", f"from {route.min()} to {route.max()}", f"from 0 to {stages - 1}, or -1 when over")
    steps, following = route[:, :-1], route[:, 1:]
    onward = (following < 0) | (steps >= 0) & (following > steps)
    if (route[:, 0] < 0).any() or not onward.all():
        raise OutOfRange("route", "out of order", "at least one step, each at a later stage, then -1")
