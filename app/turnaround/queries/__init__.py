"""How long pairs stay at each stage, and how often the promised day was kept, over any months and of any pairs."""

from bisect import bisect_right
from collections.abc import Iterable
from itertools import accumulate
from typing import NamedTuple

import numpy as np
from sqlalchemy import func, select
from sqlmodel import Session

from app import clock
from app.bench.queries.station import stay_t
from app.people import queries as people
from app.people.queries import Counted
from app.trade.estimates import between, percentile_at
from app.turnaround.queries.months import stays_of, waits_for_columns
from app.turnaround.queries.standing import standing
from app.turnaround.queries.stays import by_month, epoch
from app.turnaround.rules.asked import Asked, month_of
from app.turnaround.rules.columns import PLACE, ROWS, WAY
from app.turnaround.rules.times import NOBODY, Looked, Standing, Times

__all__ = [
    "Figures",
    "by_month",
    "figures",
    "lengths",
    "looked",
    "on_time",
    "percentile",
    "waits_for_columns",
]
Lengths = list[tuple[int, int]]
"""Minutes from the shortest to the longest, each with the number of stays that were as long."""


def lengths(db: Session, since_month: int, stages: Iterable[str]) -> dict[str, Lengths]:
    """The stays of each stage in the period, from one pass over the index in its own order, without sorting them."""
    by_month = (
        select(stay_t.c.stage, stay_t.c.minutes, func.count().label("stays"))
        .where(
            stay_t.c.calendar_id == people.counted(db).calendar_id,
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


class Figures(NamedTuple):
    looked: Looked
    counted: Counted
    """The calendar that all of it is in."""
    now: int
    """Minutes since 1970."""
    rows: list[Times]
    """The whole way and each stage that has a figure, in the order of the trail, the way first."""
    kept: int
    promised: int
    """Pairs that came to To dispense in the period and had a promised day."""
    overdue: int
    """Pairs whose promised day is over and which are not there yet: they are in neither of these."""
    open_pairs: int
    parked: int

    def of(self, row: str) -> Times:
        return next((each for each in self.rows if each.row == row), self.looked.times(row))


def looked(db: Session, asked: Asked) -> tuple[Looked, Counted]:
    """The stays that the period's figures are of. What left later than its end says how long they took in the end."""
    counted = people.counted(db)
    now = standing(db, counted, shells=asked.shell is not None)
    return _looked(db, counted, asked, now), counted


def _looked(db: Session, counted: Counted, asked: Asked, now: Standing) -> Looked:
    begins, ends = (epoch(at) for at in asked.span(counted.hours.zone))
    return Looked(*stays_of(db, counted, asked, begins, ends), now, asked, begins, ends)


def figures(db: Session, asked: Asked) -> Figures:
    """All that is shown of the period and of now; stages without a figure are left out."""
    here, counted = looked(db, asked)
    rows = [here.times(row) for row in (WAY, *(row for row in ROWS if row != WAY))]
    kept, promised = here.promises()
    table, mine = here.standing, asked.matches(here.standing, slice(None))
    mine = np.ones(len(table.place), dtype=bool) if mine is None else mine
    ways = mine & (table.place == PLACE[WAY])
    return Figures(
        here,
        counted,
        epoch(clock.now()),
        [row for row in rows if row.ended or row.lasting or len(here.here(row.row))],
        kept,
        promised,
        int((ways & (table.late != 0)).sum()),
        len(np.unique(table.pair[mine])),
        len(np.unique(table.pair[mine & (table.on != NOBODY)])),
    )


def on_time(db: Session, since_month: int) -> tuple[int, int]:
    """Of the pairs that came to To dispense since then with a promised day: how many kept it, of how many."""
    counted = people.counted(db)
    asked = Asked(since_month, month_of(clock.today(counted.hours.zone)), None)
    return _looked(db, counted, asked, standing(db, counted, at="dispense")).promises()
