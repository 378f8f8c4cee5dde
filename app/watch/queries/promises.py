"""What was promised, and how long what is left usually takes."""

from collections.abc import Iterator, Sequence
from typing import Any

from sqlalchemy import Row
from sqlmodel import Session

from app.bench.rules.stages import STAGES
from app.turnaround.queries import lengths, percentile
from app.turnaround.rules import first_month
from app.watch.queries.scope import AT_CLINIC, Acts
from app.watch.rules import facts
from app.watch.rules.limits import Moment

FEWEST = 5
"""Stays. Of fewer a median says nothing of the stage, and no promise is judged by it."""
MEDIANS_OVER_MONTHS = 3


def promises(db: Session, rows: Sequence[Row[Any]], acts: Acts, at: Moment) -> Iterator[facts.Promise]:
    """A promise of an earlier visit says nothing of this one."""
    promised = [
        row
        for row in rows
        if row.promised_on and row.stage not in AT_CLINIC and row.promised_on >= at.day_of(row.started_at)
    ]
    usual = medians(db, at) if promised else {}
    for row in promised:
        mine = acts.get(row.id, {})
        changed = [when for act in ("book", "promise") for when, _ in mine.get(act, ())]
        bench, way = _left_to_do(row, usual, at)
        yield facts.Promise(
            row.code, row.promised_on, row.since, bench, way, row.fitting_at, max(changed, default=None)
        )


def _left_to_do(row: Row[Any], usual: dict[str, float], at: Moment) -> tuple[int, int]:
    """Median minutes from here to the clinic: at benches (working time) and on the way (by the clock).

    The present stage counts for what is left of its own median.
    """
    here, there = row.route.index(row.stage), row.route.index("dispense") if "dispense" in row.route else None
    bench = way = 0.0
    for stage in row.route[here:there]:
        minutes = usual.get(stage, 0.0)
        if STAGES[stage].bench:
            spent = at.calendar.minutes_between(row.since, at.now) if stage == row.stage else 0
            bench += max(minutes - spent, 0.0)
        else:
            spent = int((at.now - row.since).total_seconds() // 60) if stage == row.stage else 0
            way += max(minutes - spent, 0.0)
    return round(bench), round(way)


def medians(db: Session, at: Moment) -> dict[str, float]:
    """The median minutes at each stage, over the stays that ended in the last months; stages of few stays are out."""
    since = first_month(at.today, MEDIANS_OVER_MONTHS + 1)
    found = lengths(db, since, [stage for stage in STAGES if stage not in AT_CLINIC])
    return {stage: percentile(stays, 50) for stage, stays in found.items() if sum(n for _, n in stays) >= FEWEST}
