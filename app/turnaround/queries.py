"""How long pairs stay at each stage, and how often the promised day was kept, over a period of whole months."""

from datetime import date, datetime
from typing import NamedTuple

from sqlalchemy import func, select
from sqlmodel import Session, col

from app import clock
from app.bench import queries as bench
from app.bench.queries import pair_t
from app.bench.rules.stages import STAGES
from app.bench.tables import Stay
from app.people import queries as people
from app.trade.estimates import between, percentile_at
from app.turnaround.rules import first_month, kept, share


class StageTime(NamedTuple):
    """Minutes, working time at benches and by the clock elsewhere, of sides that left the stage in the period."""

    stage: str
    stays: int
    median: float
    ninetieth: float


def stage_times(db: Session, since_month: int) -> list[StageTime]:
    """Exact type 7 percentiles, each by two rows at an offset of the index, without reading the rest."""
    calendar = people.lab(db).calendar_id
    of_period = (col(Stay.calendar_id) == calendar, col(Stay.month) >= since_month)
    counted = select(col(Stay.stage), func.count()).where(*of_period).group_by(col(Stay.stage))
    counts = {row[0]: row[1] for row in db.execute(counted)}
    times = []
    for stage in STAGES:
        if count := counts.get(stage, 0):
            found = [_percentile(db, of_period, stage, count, p) for p in (50, 90)]
            times.append(StageTime(stage, count, found[0], found[1]))
    return times


def _percentile(db: Session, of_period: tuple[object, ...], stage: str, count: int, p: float) -> float:
    index, fraction = percentile_at(count, p)
    wanted = (
        select(col(Stay.minutes))
        .where(*of_period, col(Stay.stage) == stage)  # type: ignore[arg-type]
        .order_by(col(Stay.minutes))
        .offset(index)
        .limit(2)
    )
    rows = [float(minutes) for minutes in db.execute(wanted).scalars()]
    return between(rows[0], rows[-1], fraction)


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
    open_pairs, parked = (sum(getattr(count, name) for count in counts.values()) for name in ("pairs", "parked"))
    return Figures(stages, met, promised, open_pairs, parked)


def on_time(db: Session, since_month: int) -> tuple[int, int]:
    """Of the pairs that were dispensed in the period and had a promised day: how many kept it, of how many."""
    lab = people.lab(db)
    first: dict[int, tuple[datetime, date]] = {}
    rows = db.execute(
        select(col(Stay.pair_id), col(Stay.entered_at), pair_t.c.promised_on)
        .join(pair_t, pair_t.c.id == col(Stay.pair_id))
        .where(
            col(Stay.calendar_id) == lab.calendar_id,
            col(Stay.stage) == "dispense",
            col(Stay.month) >= since_month,
            pair_t.c.promised_on.is_not(None),
        )
        .order_by(col(Stay.entered_at).desc())
    )
    for pair_id, entered, promised in rows:
        first[pair_id] = (entered, promised)  # the earliest comes last
    return share(kept(entered, promised, lab.zone) for entered, promised in first.values())
