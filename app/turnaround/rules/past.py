"""Figures of the stays that are over: each is worked out once for what is asked, as nothing changes them any more.

Everything is vectorised; nothing here knows a database. Minutes are of each row's own clock.
"""

from collections.abc import Callable, Iterator, Sequence
from typing import Any, NamedTuple, TypeVar

import numpy as np

from app.bench.rules.acts import WAITING_ON
from app.trade.estimates import Counted, standing
from app.turnaround.rules.asked import Asked
from app.turnaround.rules.columns import KEPT, NO_PROMISE, Columns, Numbers

Found = TypeVar("Found")
MOST_KNOWN = 200
"""Figures that are kept of one thing asked: the page has some fifty, and each week that is looked at one."""


class Part(NamedTuple):
    """Where the time of stays went, in minutes."""

    all: int
    stays: int
    worked: int
    """Of the stays in which somebody said that work began."""
    recorded: int
    recorded_all: int
    """How many stays those are, and how long."""
    parked: tuple[int, ...]
    """By whom the pair waited on, in the order of WAITING_ON."""


class Gone(NamedTuple):
    """One entry for each that left, in any order; `kept` is of the whole way."""

    left: Numbers
    pair: Numbers
    minutes: Numbers
    kept: Numbers

    @property
    def promises(self) -> tuple[int, int]:
        """How many came by the day promised for them, of how many that had one."""
        return int((self.kept == KEPT).sum()), int((self.kept != NO_PROMISE).sum())


class Past:
    """Stays in parts, and which of them are asked for: `asked`, entered from `begins` to before `ends`."""

    def __init__(self, parts: Sequence[Columns], asked: Asked, begins: int, ends: int) -> None:
        self.parts, self.asked, self.begins, self.ends = parts, asked, begins, ends
        self._known: dict[tuple[Any, ...], Any] = {}

    def cohort(self, row: str) -> tuple[Counted, Counted]:
        """What was entered in the period: the minutes of what is over, and of what was cut off before it was done."""
        return self._once(("cohort", row), lambda: self._cohort(row))

    def gone(self, row: str, begins: int, ends: int) -> Gone:
        """What left this row from `begins` to before `ends` with its work done, whenever it had come."""
        return self._once(("gone", row, begins, ends), lambda: self._gone(row, begins, ends))

    def standing_at(self, rows: tuple[str, ...], instants: tuple[int, ...]) -> Numbers:
        """How many of these stood at the rows at each instant; what had left before the first part is not here."""
        return self._once(("standing", rows, instants), lambda: self._standing_at(rows, instants))

    def part(self, rows: tuple[str, ...]) -> Numbers:
        """The numbers of `Part`, of what was entered in the period."""
        return self._once(("part", rows), lambda: self._part(rows))

    def _once(self, key: tuple[Any, ...], find: Callable[[], Found]) -> Found:
        """Two threads may work the same out; it is the same."""
        if key not in self._known:
            if len(self._known) >= MOST_KNOWN:
                self._known = {}
            self._known[key] = find()
        found: Found = self._known[key]
        return found

    def _cohort(self, row: str) -> tuple[Counted, Counted]:
        over, cut = [np.empty(0, dtype=np.int32)], [np.empty(0, dtype=np.int32)]
        for part, where, mine in self._mine(row):
            chosen, done = self._entered(part, where, mine), part.done[where] != 0
            over.append(part.minutes[where][chosen & done])
            cut.append(part.minutes[where][chosen & ~done])
        return _counted(np.concatenate(over)), _counted(np.concatenate(cut))

    def _gone(self, row: str, begins: int, ends: int) -> Gone:
        found = [Gone(*np.empty((len(Gone._fields), 0), dtype=np.int32))]
        for part, where, mine in self._mine(row):
            went = part.left[where]
            chosen = (went >= begins) & (went < ends) & (part.done[where] != 0)
            chosen = chosen if mine is None else chosen & mine
            columns = (part.left, part.pair, part.minutes, part.kept)
            found.append(Gone(*(column[where][chosen] for column in columns)))
        return Gone(*(np.concatenate(each) for each in zip(*found, strict=True)))

    def _standing_at(self, rows: tuple[str, ...], instants: tuple[int, ...]) -> Numbers:
        came, went = [np.empty(0, dtype=np.int32)], [np.empty(0, dtype=np.int32)]
        for row in rows:
            for part, where, mine in self._mine(row):
                came.append(part.entered[where] if mine is None else part.entered[where][mine])
                went.append(part.left[where] if mine is None else part.left[where][mine])
        return standing(np.concatenate(came), np.concatenate(went), instants)

    def _part(self, rows: tuple[str, ...]) -> Numbers:
        sums = np.zeros(5 + len(WAITING_ON), dtype=np.int64)
        for part in self.parts:
            chosen = np.zeros(part.stays, dtype=bool)
            for where in map(part.of_row, rows):
                chosen[where] = self._entered(part, where, self.asked.matches(part, where))
            sums += _sums(part, chosen)
        return sums

    def _mine(self, row: str) -> Iterator[tuple[Columns, slice, Numbers | None]]:
        for part in self.parts:
            where = part.of_row(row)
            if where.start < where.stop:
                yield part, where, self.asked.matches(part, where)

    def _entered(self, part: Columns, where: slice, mine: Numbers | None) -> Numbers:
        came = part.entered[where]
        chosen: Numbers = (came >= self.begins) & (came < self.ends)
        return chosen if mine is None else chosen & mine


def _counted(minutes: Numbers) -> Counted:
    """Each length once: a few hundred in place of a hundred thousand stays."""
    different, times = np.unique(minutes, return_counts=True)
    return Counted(different, times)


def _sums(part: Columns, chosen: Numbers) -> Numbers:
    """The numbers of `Part`, of the chosen stays of one part."""
    said = chosen[part.worked_at]
    recorded = part.worked_at[said]
    held = chosen[part.parked_at]
    parked = np.bincount(part.parked_on[held], part.parked[held], len(WAITING_ON))[: len(WAITING_ON)]
    first = [
        part.minutes[chosen].sum(dtype=np.int64),
        chosen.sum(),
        part.worked[said].sum(dtype=np.int64),
        len(recorded),
        part.minutes[recorded].sum(dtype=np.int64),
    ]
    return np.concatenate([first, parked]).astype(np.int64)
