"""From stays to figures: how long things take when what is not over yet counts, too, and how much flows through.

What is over (past.py) and what stands there now are added up here; nothing here knows a database.
"""

from typing import NamedTuple

import numpy as np

from app.bench.rules.stages import STAGES
from app.trade.estimates import (
    Counted,
    Survival,
    between,
    percentile_at,
    quantile,
    quantile_band,
    standing,
    survival,
)
from app.turnaround.rules.asked import Asked
from app.turnaround.rules.columns import PLACE, WAY, Numbers
from app.turnaround.rules.past import Gone, Part, Past

FEWEST = 5
"""Of fewer that are over, no percentile says anything."""
PERCENTILES = (50, 75, 90)
AGES = {True: (0, 1, 2, 3, 5, 10, 20), False: (0, 2, 7, 14, 28, 56, 112)}
"""Where the ages of open pairs part, in days: working days at a bench, days by the clock elsewhere."""
NOBODY = -1
"""Whom a pair waits on that goes on."""


class Standing(NamedTuple):
    """One entry for each side that stands somewhere and each visit on its way; see Columns.

    `arrived` is when a way's pair came to stand at To dispense, in minutes since 1970; 0 of all others.
    `late` says that the promised day is over and the pair is not at the clinic yet; `kept` is of what has arrived.
    """

    place: Numbers
    minutes: Numbers
    entered: Numbers
    clinic: Numbers
    way: Numbers
    reason: Numbers
    shell: Numbers
    sides: Numbers
    pair: Numbers
    on: Numbers
    late: Numbers
    arrived: Numbers
    kept: Numbers


class Times(NamedTuple):
    """What of a row's stays is over, what is still open, and what follows from both."""

    row: str
    ended: int
    lasting: int
    """How many are not over: what stands there now, and what was withdrawn."""
    here: int
    """How many of these stand there now."""
    curve: Survival | None
    """None where there are too few."""
    naive: tuple[float, ...] | None
    """The percentiles of what is over alone, of type 7 as everywhere."""

    @property
    def figures(self) -> tuple[float | None, ...]:
        """The percentiles with what is open; None: not known yet, as too much is open."""
        if self.curve is None:
            return (None,) * len(PERCENTILES)
        return tuple(quantile(self.curve, p) for p in PERCENTILES)

    def bands(self) -> tuple[tuple[float | None, float | None], ...]:
        """Between which times each percentile may lie, with 95 %."""
        if self.curve is None:
            return ((None, None),) * len(PERCENTILES)
        return tuple(quantile_band(self.curve, p) for p in PERCENTILES)


class OfAge(NamedTuple):
    """Pairs that are there for `begins` to below `ends` days, of whom some are past their promised day."""

    begins: int
    ends: int | None
    pairs: int
    late: int


class Looked(NamedTuple):
    """All stays of a time, and the one thing that is asked of them. Instants are minutes since 1970."""

    past: Past
    """What was put together, of which most figures are known already."""
    lately: Past
    """What was over since."""
    standing: Standing
    asked: Asked
    begins: int
    ends: int

    def times(self, row: str) -> Times:
        """The cohort: what was entered in the period, however long it then took."""
        here, arrived = self._here(row)
        minutes = self.standing.minutes
        over, cut = zip(self.past.cohort(row), self.lately.cohort(row), strict=True)
        ended, lasting = _together(*over, minutes[arrived]), _together(*cut, minutes[here])
        over_in_all, open_in_all = (int(np.sum(each.times)) for each in (ended, lasting))
        curve = survival(ended, lasting) if over_in_all >= FEWEST else None
        return Times(row, over_in_all, open_in_all, len(here), curve, _naive(curve) if curve else None)

    def here(self, row: str) -> Numbers:
        """The entries of `standing` at this row that are asked for, whenever they came there."""
        table, at = self.standing, self.standing.place == PLACE[row]
        at &= table.arrived == 0
        mine = self.asked.matches(table, slice(None))
        return np.flatnonzero(at if mine is None else at & mine)

    def ages(self, row: str, day: int) -> list[OfAge]:
        """The open pairs of this row by how long they are there; `day` is one of the row's own clock, in minutes."""
        here, edges = self.here(row), AGES[is_bench(row)]
        pair, late = self.standing.pair[here], self.standing.late[here] != 0
        place = np.searchsorted(np.array(edges) * day, self.standing.minutes[here], side="right") - 1
        return [
            OfAge(begins, ends, *(len(np.unique(pair[mine])) for mine in (place == index, (place == index) & late)))
            for index, (begins, ends) in enumerate(zip(edges, (*edges[1:], None), strict=True))
        ]

    def gone(self, row: str, begins: int, ends: int) -> Gone:
        """What left this row from `begins` to before `ends` with its work done, whenever it had come."""
        table = self.standing
        chosen = (table.place == PLACE[row]) & (table.arrived >= max(begins, 1)) & (table.arrived < ends)
        mine = self.asked.matches(table, slice(None))
        chosen = chosen if mine is None else chosen & mine
        arrived = Gone(*(column[chosen] for column in (table.arrived, table.pair, table.minutes, table.kept)))
        found = [each.gone(row, begins, ends) for each in (self.past, self.lately)]
        return Gone(*(np.concatenate(each) for each in zip(*found, arrived, strict=True)))

    def promises(self) -> tuple[int, int]:
        """Of the pairs that came to To dispense in the period with a promised day: how many kept it, of how many."""
        return self.gone(WAY, self.begins, self.ends).promises

    def standing_at(self, rows: tuple[str, ...], instants: tuple[int, ...]) -> Numbers:
        """How many stood at these rows at each instant; `past` holds all that left from the first of them on."""
        came = self.standing.entered[np.concatenate([self.here(row) for row in rows])]
        before = [each.standing_at(rows, instants) for each in (self.past, self.lately)]
        found: Numbers = sum(before, start=standing(came, np.empty(0, dtype=np.int64), instants))
        return found

    def part(self, rows: tuple[str, ...]) -> Part:
        """Where the time went at these rows, of what was entered in the period and is over."""
        sums = (self.past.part(rows) + self.lately.part(rows)).tolist()
        return Part._make([*sums[:5], tuple(sums[5:])])

    def _here(self, row: str) -> tuple[Numbers, Numbers]:
        """Of what was entered in the period: what is there still, and what has arrived already (of the whole way)."""
        table = self.standing
        chosen = (table.place == PLACE[row]) & (table.entered >= self.begins) & (table.entered < self.ends)
        mine = self.asked.matches(table, slice(None))
        chosen = chosen if mine is None else chosen & mine
        return np.flatnonzero(chosen & (table.arrived == 0)), np.flatnonzero(chosen & (table.arrived > 0))


def benches() -> tuple[str, ...]:
    return tuple(key for key, stage in STAGES.items() if stage.bench)


def is_bench(row: str) -> bool:
    """Counted in working time; the whole way and everything beside the benches goes by the clock."""
    return row in STAGES and STAGES[row].bench


def _together(past: Counted, lately: Counted, now: Numbers) -> Counted:
    minutes = [np.asarray(each.minutes) for each in (past, lately)]
    times = [np.asarray(each.times) for each in (past, lately)]
    ones = np.ones(len(now), dtype=np.int64)
    return Counted(np.concatenate([*minutes, now]), np.concatenate([*times, ones]))


def _naive(curve: Survival) -> tuple[float, ...]:
    """The percentiles of what is over, which a curve has in order already."""
    upto = np.cumsum(curve.ended)

    def value(place: int) -> float:
        return float(curve.minutes[np.searchsorted(upto, min(place, upto[-1] - 1), side="right")])

    places = [percentile_at(int(upto[-1]), p) for p in PERCENTILES]
    return tuple(between(value(index), value(index + 1), fraction) for index, fraction in places)
