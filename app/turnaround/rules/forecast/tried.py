"""What would be if: people more or ill, rush pairs more; and by which day too much is promised.

Both worlds meet the same luck, so that they differ by what was changed alone.
"""

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from datetime import date, timedelta
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.trade.queueing import simulate
from app.turnaround.rules.forecast.line import BENCHES
from app.turnaround.rules.forecast.made import SEED, Kind, clock_of, ordered, runs_for, today
from app.turnaround.rules.forecast.odds import PARTS, Days, chance, day_at, hundredths, local_day
from app.turnaround.rules.forecast.standing import Change, Snapshot, Standing, jobs, room, stages
from app.turnaround.rules.forecast.trusted import Learnt, trusted
from app.turnaround.rules.forecast.wished import Tried

RUNS, FEWEST, CELLS = 200, 32, 200_000
"""Of many pairs together a few runs say as much as many runs of a few pairs."""
DAYS = 20
"""Working days that are looked ahead, unless so many orders come that it is fewer."""
COMING, FEWEST_DAYS = 2000, 5
FULL = 3000
"""With more pairs than these a remedy takes too long to be tried while somebody waits."""
HALF = 0.5
"""A pair: of less, nobody says that it is one more or fewer."""
CANDIDATES = 3
"""Benches at which a person more is tried."""


class Day(NamedTuple):
    """A working day: pairs promised for it or a day before it, and pairs that are there by its end."""

    day: date
    promised: int
    there: float

    @property
    def excess(self) -> float:
        """How much more is promised than can be there."""
        return self.promised - self.there


class Outlook(NamedTuple):
    days: list[Day]
    kept: float
    """Of `promised` pairs, how many keep it, on average over the runs."""
    promised: int
    pairs: tuple[Standing, ...]
    foretold: Days
    """(pairs, 100)"""

    @property
    def first(self) -> Day | None:
        """The first working day by which more is promised than can be there."""
        return next((day for day in self.days if day.excess > HALF), None)

    @property
    def worst(self) -> Day | None:
        return max(self.days, key=lambda day: day.excess) if self.first else None

    def doubtful(self, until: date, certainty: int) -> list[tuple[Standing, int, date]]:
        """Open pairs promised up to that day that are less sure than a promise has to be: chance, and a day that is."""
        found = [
            (pair, chance(row, pair.promised_on), day_at(row, certainty))
            for pair, row in zip(self.pairs, self.foretold, strict=True)
            if pair.pair_id > 0 and pair.promised_on and pair.promised_on <= until
        ]
        return sorted([each for each in found if each[1] < certainty], key=lambda each: each[1])


def outlook(
    snapshot: Snapshot,
    more: Sequence[Standing],
    changes: Mapping[str, Change],
    learnt: Learnt,
    days: int,
    by_person: Collection[str] = (),
) -> Outlook:
    """Over so many working days; `more` are pairs that are not there yet, each free from its `since` on.

    Two outlooks can be compared if both see the same benches `by_person`.
    """
    pairs = (*snapshot.standing, *more)
    if not pairs:
        return Outlook([], 0.0, 0, (), np.zeros((0, PARTS), dtype=np.int64))
    runs = runs_for(len(pairs), CELLS, RUNS, FEWEST)
    asked = jobs(pairs, snapshot.at, snapshot.calendar)
    leaves = simulate(stages(snapshot, changes, by_person), asked, clock_of(snapshot), runs=runs, seed=SEED)
    foretold = trusted(hundredths(leaves, snapshot.at, snapshot.calendar), [each.horizon for each in pairs], learnt)
    promised = np.array([each.promised_on.toordinal() if each.promised_on else 0 for each in pairs])
    some = promised > 0
    kept = float((foretold[some] <= promised[some, None]).mean(axis=1).sum())
    return Outlook(_days(snapshot, foretold, promised[some], days), kept, int(some.sum()), pairs, foretold)


def _days(snapshot: Snapshot, foretold: Days, promised: NDArray[np.int64], count: int) -> list[Day]:
    first = snapshot.calendar.next_working_day(today(snapshot))
    days = [snapshot.calendar.add_working_days(first, number) for number in range(count)]
    ends = [day.toordinal() for day in days]
    return [
        Day(day, int((promised <= end).sum()), float((foretold <= end).sum()) / PARTS)
        for day, end in zip(days, ends, strict=True)
    ]


def days_ahead(paces: Mapping[Kind, float]) -> int:
    """How many working days can be looked ahead in a moment: fewer in a lab to which many orders come."""
    return min(DAYS, max(FEWEST_DAYS, int(COMING / max(sum(paces.values()), 1))))


def to_come(snapshot: Snapshot, paces: Mapping[Kind, float], stages_on: frozenset[str], days: int) -> list[Standing]:
    """The orders of the next working days at their pace, evenly over them, each promised for its standard day."""
    calendar, day_minutes = snapshot.calendar, snapshot.calendar.standard_day_minutes()
    found = []
    for kind, a_day in paces.items():
        like = ordered(snapshot, kind, stages_on)
        for number in range(round(a_day * days)):
            at = calendar.add_minutes(snapshot.at, round((number + 0.5) / a_day * day_minutes))
            due = calendar.add_working_days(local_day(at, calendar), snapshot.standard_days[kind.way])
            found.append(like._replace(pair_id=-1, since=at, due_on=due, promised_on=due))
    return found


def rush(snapshot: Snapshot, kind: Kind, stages_on: frozenset[str], count: int) -> list[Standing]:
    """So many more at once, of this kind, checked in now: in front of all others."""
    like = ordered(snapshot, kind._replace(start="check_in"), stages_on)
    soon = today(snapshot) - timedelta(days=1)
    return [like._replace(pair_id=-1, due_on=soon, rush=True) for _ in range(count)]


class Load(NamedTuple):
    """What lies before a bench: pairs that stand there, those that still pass it, and what it can do."""

    place: str
    here: int
    pairs: int
    a_day: float
    people: int

    @property
    def days(self) -> float:
        """Working days of work."""
        return self.pairs / self.a_day if self.a_day else 0.0


def loads(snapshot: Snapshot, more: Sequence[Standing] = ()) -> list[Load]:
    """Of each bench that anything passes, or that has lately been worked at, in the order of the trail."""
    passing = Counter(place for pair in (*snapshot.standing, *more) for place in pair.places)
    here = Counter(pair.stage for pair in snapshot.standing)
    found = []
    for place in BENCHES:
        usual = room(snapshot, place)
        if passing[place] or usual.a_day:
            found.append(Load(place, here[place], passing[place], usual.a_day, usual.people))
    return found


class Remedy(NamedTuple):
    """One person more at a bench, and how many more promises are kept by it."""

    place: str
    kept: float


def remedies(snapshot: Snapshot, more: Sequence[Standing], tried: Tried, learnt: Learnt, now: Outlook) -> list[Remedy]:
    """One person more at each of the fullest benches, what helps most first; nothing where it would help nobody, and
    none tried among too many pairs.
    """
    if len(now.pairs) > FULL:
        return []
    fullest = sorted(loads(snapshot, more), key=lambda load: -load.days)[:CANDIDATES]
    found = []
    for load in fullest:
        change = tried.changes.get(load.place, Change())
        changes = {**tried.changes, load.place: change._replace(more=change.more + 1)}
        then = outlook(snapshot, more, changes, learnt, 1, tried.by_person)
        found.append(Remedy(load.place, then.kept - now.kept))
    return sorted([each for each in found if each.kept >= HALF], key=lambda each: -each.kept)
