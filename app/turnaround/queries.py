"""How long pairs stay at each stage, and how often the promised day was kept, over a period of whole months."""

from bisect import bisect_right
from collections.abc import Iterable
from functools import cache
from itertools import accumulate
from typing import NamedTuple

from sqlalchemy import func, select
from sqlmodel import Session

from app import clock
from app.bench import queries as bench
from app.bench.queries import pair_t
from app.bench.rules.stages import STAGES
from app.bench.tables import Stay
from app.people import queries as people
from app.trade.estimates import between, percentile_at
from app.turnaround.rules import first_month, too_late

stay_t = Stay.metadata.tables["stay"]
Lengths = list[tuple[int, int]]
"""Minutes from the shortest to the longest, each with the number of stays that were as long."""


class StageTime(NamedTuple):
    """Minutes, working time at benches and by the clock elsewhere, of sides that left the stage in the period."""

    stage: str
    stays: int
    median: float
    ninetieth: float


def stage_times(db: Session, since_month: int) -> list[StageTime]:
    """Exact type 7 percentiles of every stage that has stays in the period, in the order of the trail."""
    found = lengths(db, since_month, STAGES)
    times = []
    for stage in STAGES:
        if stays := found.get(stage):
            count = sum(equal for _, equal in stays)
            times.append(StageTime(stage, count, percentile(stays, 50), percentile(stays, 90)))
    return times


def lengths(db: Session, since_month: int, stages: Iterable[str]) -> dict[str, Lengths]:
    """The stays of each stage in the period, from one pass over the index in its own order, without sorting them."""
    by_month = (
        select(stay_t.c.stage, stay_t.c.minutes, func.count().label("stays"))
        .where(
            stay_t.c.calendar_id == people.lab(db).calendar_id,
            stay_t.c.stage.in_(list(stages)),
            stay_t.c.month >= since_month,
        )
        .group_by(stay_t.c.stage, stay_t.c.month, stay_t.c.minutes)
        .subquery()
    )
    stage, minutes = by_month.c.stage, by_month.c.minutes
    query = select(stage, minutes, func.sum(by_month.c.stays)).group_by(stage, minutes).order_by(stage, minutes)
    found: dict[str, Lengths] = {}
    for here, length, equal in db.execute(query).all():
        found.setdefault(here, []).append((length, int(equal)))
    return found


def percentile(stays: Lengths, p: float) -> float:
    up_to = list(accumulate(equal for _, equal in stays))
    index, fraction = percentile_at(up_to[-1], p)
    low, following = (stays[bisect_right(up_to, min(place, up_to[-1] - 1))][0] for place in (index, index + 1))
    return between(low, following, fraction)


class StageNow(NamedTuple):
    """A stage's figures over the period, and what stands there now. Minutes: working time where `stage.bench`."""

    stage: str
    open: int
    oldest: int | None
    """Minutes the pair waits that waits longest."""
    times: StageTime | None


class Figures(NamedTuple):
    stages: list[StageNow]
    kept: int
    promised: int
    """Pairs dispensed in the period that had a promised day."""
    open_pairs: int
    parked: int


def figures(db: Session, months: int) -> Figures:
    """All that is shown of the last `months` whole months and of now; stages without a figure are left out."""
    lab, calendar, now = people.lab(db), people.work_calendar(db), clock.now()
    since = first_month(clock.today(lab.zone), months)
    times = {row.stage: row for row in stage_times(db, since)}
    counts = bench.counts(db, clinics=None)
    stages = []
    for key, stage in STAGES.items():
        time, count = times.get(key), counts.get(key)
        if time is None and count is None:
            continue
        oldest = None
        if count:
            by_clock = int((now - count.oldest).total_seconds() // 60)
            oldest = calendar.minutes_between(count.oldest, now) if stage.bench else by_clock
        stages.append(StageNow(key, count.pairs if count else 0, oldest, time))
    met, promised = on_time(db, since)
    open_pairs, parked = (sum(getattr(count, name) for count in counts.values()) for name in ("open", "parked"))
    return Figures(stages, met, promised, open_pairs, parked)


def on_time(db: Session, since_month: int) -> tuple[int, int]:
    """Of the pairs that were dispensed in the period and had a promised day: how many kept it, of how many."""
    lab = people.lab(db)
    query = (
        select(pair_t.c.promised_on, func.min(stay_t.c.entered_at))
        .join(pair_t, pair_t.c.id == stay_t.c.pair_id)
        .where(
            stay_t.c.calendar_id == lab.calendar_id,
            stay_t.c.stage == "dispense",
            stay_t.c.month >= since_month,
            pair_t.c.promised_on.is_not(None),
        )
        .group_by(stay_t.c.pair_id, pair_t.c.promised_on)
    )
    late_from = cache(lambda promised: too_late(promised, lab.zone))
    answers = [entered < late_from(promised) for promised, entered in db.execute(query).all()]
    return sum(answers), len(answers)
