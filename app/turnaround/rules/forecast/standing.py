"""The open pairs as the jobs of a simulation, and the lab as its stages."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import NamedTuple

import numpy as np

from app.bench.rules.stages import STANDARD_DAYS
from app.trade.queueing import Jobs, Stage
from app.trade.worktime import WorkCalendar
from app.turnaround.rules.forecast.known import Known
from app.turnaround.rules.forecast.line import HELD, LINE, PLACE, at_bench, by_work

Horizon = tuple[int, int]
"""How far something is foretold: from which place on, and over how many stages."""
_MINUTE = timedelta(minutes=1)


class Standing(NamedTuple):
    """An open pair as it stands at an instant, on its way to the clinic."""

    pair_id: int
    code: str
    clinic_id: int
    way: str
    places: tuple[str, ...]
    """What it still passes, from where it stands."""
    since: datetime
    """From when on it could be worked where it stands: since it came, or since it went on."""
    due_on: date
    promised_on: date | None = None
    waits_on: str | None = None
    """On whom it waits, if it stands still."""
    held_since: datetime | None = None
    started_at: datetime | None = None
    """When its visit began."""
    steps: int = 0
    """How many places its visit has from the beginning to the clinic."""
    rush: bool = False

    @property
    def stage(self) -> str:
        return self.places[0]

    @property
    def left(self) -> int:
        """How far it has to go, in stages."""
        return len(self.places)

    @property
    def horizon(self) -> Horizon:
        return PLACE[self.stage], self.left

    @property
    def passes(self) -> tuple[str, ...]:
        return (HELD + self.waits_on, *self.places) if self.waits_on else self.places


@dataclass(frozen=True, slots=True)
class Capacity:
    """What the lab set of a bench: pairs a working day, and how many people share them; None leaves its own figure."""

    a_day: float | None = None
    people: int | None = None


@dataclass(frozen=True, slots=True)
class Snapshot:
    """All that a forecast is made from, as it was known at `at`."""

    at: datetime
    calendar: WorkCalendar
    known: Known
    standing: tuple[Standing, ...]
    capacity: Mapping[str, Capacity] = field(default_factory=dict)
    standard_days: Mapping[str, int] = field(default_factory=lambda: dict(STANDARD_DAYS))

    def thin(self, pair: Standing) -> list[str]:
        """The places it still passes of which too little is known."""
        return [place for place in pair.places if self.known.thin(place)]


class Change(NamedTuple):
    """What is tried at a bench."""

    more: int = 0
    """People more, or fewer."""
    away: int = 0
    """People who are not there now, for so many working days."""
    away_days: float = 0


class Room(NamedTuple):
    """How many pairs a working day a bench does, and by how many people."""

    a_day: float
    people: int


def room(snapshot: Snapshot, place: str) -> Room:
    own, chosen = snapshot.known.places[place], snapshot.capacity.get(place, Capacity())
    return Room(chosen.a_day or own.a_day, chosen.people or own.people or 1)


def stages(snapshot: Snapshot, changes: Mapping[str, Change] = {}, by_person: Collection[str] = ()) -> list[Stage]:
    """In the order of `LINE`.

    Whole stays hold the usual waiting already, so they are the least that a pair stays; what a bench can do a day only
    lengthens that where more stands there than usual. A bench is one server that is as fast as all its people together,
    because several slow ones would add to each stay; those of `by_person` are not, so that some of them can be away.
    """
    return [_stage(snapshot, place, changes.get(place, Change()), place in by_person) for place in LINE]


def _stage(snapshot: Snapshot, place: str, change: Change, by_person: bool) -> Stage:
    if place.startswith(HELD):
        return Stage(0, snapshot.known.holds[place])
    own = snapshot.known.places[place]
    if not at_bench(place):
        return Stage(0, own.stays, working=by_work(place), back=own.back, back_minutes=own.back_minutes)
    usual, day = room(snapshot, place), snapshot.calendar.standard_day_minutes()
    people = max(1, usual.people + change.more)
    each = usual.people * day / usual.a_day if usual.a_day else 0.0
    servers = people if by_person else 1
    return Stage(
        servers,
        [each * servers / people],
        own.stays,
        back=own.back,
        back_minutes=own.back_minutes,
        closed_until=[change.away_days * day] * min(change.away, people) if by_person else (),
    )


def jobs(pairs: Sequence[Standing], at: datetime, calendar: WorkCalendar, first: int | None = None) -> Jobs:
    """One for each pair, in their order. `first` is the number of a pair that goes before all others."""
    route = np.full((len(pairs), max((len(each.passes) for each in pairs), default=1)), -1)
    for number, pair in enumerate(pairs):
        route[number, : len(pair.passes)] = [PLACE[place] for place in pair.passes]
    order = np.empty(len(pairs))
    line = sorted(range(len(pairs)), key=lambda number: (pairs[number].due_on, pairs[number].since, number))
    order[line] = np.arange(len(pairs))
    if first is not None:
        order[first] = -1
    waited = [_waited(each, at, calendar) for each in pairs]
    free = [max(0.0, (each.since - at) / _MINUTE) for each in pairs]
    return Jobs(route, np.array(waited), np.array(free), order)


def _waited(pair: Standing, at: datetime, calendar: WorkCalendar) -> float:
    if pair.waits_on and pair.held_since:
        return calendar.minutes_between(pair.held_since, at)
    if by_work(pair.stage):
        return calendar.minutes_between(pair.since, at)
    return max(0.0, (at - pair.since) / _MINUTE)
