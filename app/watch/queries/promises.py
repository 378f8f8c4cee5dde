"""What was promised, and how long what is left usually takes."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import Any

from sqlalchemy import Row, func, select
from sqlmodel import Session, col

from app.bench.rules.stages import STAGES
from app.bench.tables import Stay
from app.people import queries as people
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
    """The median minutes at each stage, over the stays that ended in the last months; stages of few stays are out.

    One pass over the index by stage, month and minutes: equal stays come as one row with their number.
    """
    first = at.today.year * 12 + at.today.month - 1 - MEDIANS_OVER_MONTHS
    query = (
        select(col(Stay.stage), col(Stay.minutes), func.count())
        .where(
            col(Stay.calendar_id) == people.lab(db).calendar_id,
            col(Stay.stage).in_([stage for stage in STAGES if stage not in AT_CLINIC]),
            col(Stay.month) >= first // 12 * 100 + first % 12 + 1,
        )
        .group_by(col(Stay.stage), col(Stay.minutes))
        .order_by(col(Stay.stage), col(Stay.minutes))
    )
    by_stage: dict[str, list[tuple[int, int]]] = defaultdict(list)
    for stage, minutes, count in db.execute(query):
        by_stage[stage].append((minutes, count))
    return {stage: median(rows) for stage, rows in by_stage.items() if sum(count for _, count in rows) >= FEWEST}


def median(rows: Sequence[tuple[int, int]]) -> float:
    """The median of values with their numbers, sorted by value."""
    total = sum(count for _, count in rows)

    def value_at(place: int) -> int:
        for value, count in rows:
            place -= count
            if place < 0:
                return value
        raise IndexError(place)

    return (value_at((total - 1) // 2) + value_at(total // 2)) / 2
