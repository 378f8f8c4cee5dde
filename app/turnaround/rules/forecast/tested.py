"""A week's forecasts as they would have been made, beside what came: what the back-test keeps of each Monday."""

import io
from collections.abc import Sequence
from datetime import date, datetime

import numpy as np
from numpy.typing import NDArray

from app.trade.queueing import simulate
from app.turnaround.rules.forecast.line import PLACE
from app.turnaround.rules.forecast.made import clock_of, runs_for
from app.turnaround.rules.forecast.odds import Days, days_of, hundredths, local_day
from app.turnaround.rules.forecast.standing import Snapshot, Standing, jobs, stages
from app.turnaround.rules.forecast.trusted import NOT_YET, Foretold

RUNS, CELLS = 200, 400_000


def foretell(snapshot: Snapshot, came: Sequence[datetime | None], seed: int) -> Foretold:
    """`came` is when each of the pairs standing at the snapshot's instant came to the clinic, as far as it has.

    Where too little was known of a stage, nothing would have been foretold.
    """
    told = [number for number, pair in enumerate(snapshot.standing) if not snapshot.thin(pair)]
    pairs = [snapshot.standing[number] for number in told]
    raw: Days = np.zeros((0, 100), dtype=np.int64)
    if pairs:
        everyone = jobs(snapshot.standing, snapshot.at, snapshot.calendar)
        runs = runs_for(len(snapshot.standing), CELLS, RUNS)
        leaves = simulate(stages(snapshot), everyone, clock_of(snapshot), runs=runs, seed=seed)
        raw = hundredths(leaves[:, told], snapshot.at, snapshot.calendar)
    days = [local_day(at, snapshot.calendar).toordinal() if (at := came[number]) else NOT_YET for number in told]
    return Foretold(
        local_day(snapshot.at, snapshot.calendar).toordinal(),
        _whole(each.pair_id for each in pairs),
        _whole(PLACE[each.stage] for each in pairs),
        _whole(each.left for each in pairs),
        raw,
        _by_stage(snapshot, pairs),
        _whole(_fixed(snapshot, each).toordinal() for each in pairs),
        np.array(days, dtype=np.int64),
    )


def _by_stage(snapshot: Snapshot, pairs: Sequence[Standing]) -> Days:
    """What was usual from the same stage on, counted from when it came there; not sooner than at once."""
    usual = snapshot.known.onward
    spent = [max(0.0, (snapshot.at - each.since).total_seconds() / 60) for each in pairs]
    left = [max(0.0, usual.get(each.stage, 0.0) - gone) for each, gone in zip(pairs, spent, strict=True)]
    return days_of(np.array(left, dtype=np.float64), snapshot.at, snapshot.calendar)


def _fixed(snapshot: Snapshot, pair: Standing) -> date:
    """The route's standard working days from when its visit began; not sooner than at once."""
    began = local_day(pair.started_at or snapshot.at, snapshot.calendar)
    day = snapshot.calendar.add_working_days(began, snapshot.standard_days[pair.way])
    return max(day, snapshot.calendar.next_working_day(local_day(snapshot.at, snapshot.calendar)))


def packed(week: Foretold) -> bytes:
    """Days as their distance from the Monday, which two bytes hold."""
    base = week.made_on
    columns = {
        "pair": week.pair.astype(np.int32),
        "place": week.place.astype(np.int8),
        "left": week.left.astype(np.int8),
        "came": np.where(week.came == NOT_YET, -1, week.came - base).astype(np.int16),
        **{name: (getattr(week, name) - base).astype(np.int16) for name in ("raw", "by_stage", "fixed")},
    }
    stream = io.BytesIO()
    np.savez_compressed(stream, **columns)
    return stream.getvalue()


def unpacked(made_on: int, columns: bytes) -> Foretold:
    with np.load(io.BytesIO(columns), allow_pickle=False) as held:
        whole: dict[str, NDArray[np.int64]] = {name: held[name].astype(np.int64) for name in held.files}
    whole |= {name: whole[name] + made_on for name in ("raw", "by_stage", "fixed")}
    whole["came"] = np.where(whole["came"] < 0, NOT_YET, whole["came"] + made_on)
    return Foretold(made_on, **whole)


def _whole(numbers: object) -> NDArray[np.int64]:
    return np.fromiter(numbers, dtype=np.int64)  # type: ignore[call-overload,no-any-return]
