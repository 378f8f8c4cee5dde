"""Making forecasts: the open pairs, and a new order of each route and kind of clinic."""

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.bench.rules.stages import WAYS, Terms, new_route
from app.trade.queueing import Clock, costliest, simulate, simulate_stays
from app.turnaround.rules.forecast.line import LINE, rest
from app.turnaround.rules.forecast.odds import ASKED, Days, chance, day_at, hundredths, local_day
from app.turnaround.rules.forecast.standing import Snapshot, Standing, jobs, stages
from app.turnaround.rules.forecast.trusted import Learnt, trusted

SEED = 20_261
CELLS = 600_000
"""Runs times pairs of one forecast: a few seconds."""
MOST_RUNS, FEWEST_RUNS = 1000, 100
ALONE = 400
"""Up to so many open pairs each new order is foreseen on its own; with more, a few side by side change nothing."""
ORDER_RUNS = 400


class Foreseen(NamedTuple):
    """One open pair. Without `days` too little is known of its stages: `likely` is then the standard days' own."""

    pair: Standing
    half: date
    likely: date
    nearly: date
    chance: int | None
    """In a hundred, of being there on its promised day; None where nothing is promised or too little is known."""
    costs: str
    """The place that costs it most, and how many minutes by the clock on average."""
    costs_minutes: int
    standard: bool = False


class Kind(NamedTuple):
    """What a new order is foreseen for."""

    way: str
    by_parcel: bool
    trims: bool
    start: str
    """order, or check_in: once what it is made from is here."""


class NewOrder(NamedTuple):
    kind: Kind
    days: tuple[int, ...]
    """A hundred numbers of days; empty where too little is known."""
    missing: tuple[str, ...]
    """The places of which it is."""


class Made(NamedTuple):
    pairs: list[Foreseen]
    orders: list[NewOrder]
    runs: int


def runs_for(pairs: int, cells: int = CELLS, most: int = MOST_RUNS, fewest: int = FEWEST_RUNS) -> int:
    return int(min(most, max(fewest, cells // max(pairs, 1))))


def make(
    snapshot: Snapshot, kinds: Sequence[Kind], stages_on: frozenset[str], learnt: Learnt, seed: int = SEED
) -> Made:
    runs = runs_for(len(snapshot.standing))
    return Made(foresee(snapshot, learnt, runs, seed), new_orders(snapshot, kinds, stages_on, learnt, seed), runs)


def foresee(snapshot: Snapshot, learnt: Learnt, runs: int, seed: int) -> list[Foreseen]:
    pairs = snapshot.standing
    if not pairs:
        return []
    leaves, stays = simulate_stays(
        stages(snapshot), jobs(pairs, snapshot.at, snapshot.calendar), clock_of(snapshot), runs=runs, seed=seed
    )
    days = trusted(hundredths(leaves, snapshot.at, snapshot.calendar), [each.horizon for each in pairs], learnt)
    most = costliest(stays)
    return [
        _foreseen(snapshot, pair, row, LINE[place], float(stays[number, place]))
        for number, (pair, row, place) in enumerate(zip(pairs, days, most, strict=True))
    ]


def _foreseen(snapshot: Snapshot, pair: Standing, row: Days, place: str, minutes: float) -> Foreseen:
    if snapshot.thin(pair):
        day = standard_day(snapshot, pair)
        return Foreseen(pair, day, day, day, None, place, 0, standard=True)
    half, likely, nearly = (day_at(row, asked) for asked in ASKED)
    odds = chance(row, pair.promised_on) if pair.promised_on else None
    return Foreseen(pair, half, likely, nearly, odds, place, round(minutes))


def standard_day(snapshot: Snapshot, pair: Standing) -> date:
    """By the route's standard working days: as large a part of them as is left of its stages, from today on."""
    days = snapshot.standard_days[pair.way]
    left = -(-days * pair.left // max(pair.steps, pair.left))
    return snapshot.calendar.add_working_days(today(snapshot), left)


def today(snapshot: Snapshot) -> date:
    return local_day(snapshot.at, snapshot.calendar)


def clock_of(snapshot: Snapshot) -> Clock:
    return Clock(snapshot.calendar, snapshot.at)


def new_orders(
    snapshot: Snapshot, kinds: Sequence[Kind], stages_on: frozenset[str], learnt: Learnt, seed: int
) -> list[NewOrder]:
    wanted = [ordered(snapshot, kind, stages_on, number) for number, kind in enumerate(kinds)]
    alone = len(snapshot.standing) <= ALONE
    groups = [[each] for each in wanted] if alone else [wanted]
    rows: list[NDArray[np.int64]] = []
    for group in filter(None, groups):
        everyone = (*snapshot.standing, *group)
        asked = jobs(everyone, snapshot.at, snapshot.calendar)
        runs = runs_for(len(everyone), most=ORDER_RUNS)
        leaves = simulate(stages(snapshot), asked, clock_of(snapshot), runs=runs, seed=seed)[:, -len(group) :]
        days = hundredths(leaves, snapshot.at, snapshot.calendar)
        rows.extend(trusted(days, [each.horizon for each in group], learnt))
    found = []
    for kind, pair, row in zip(kinds, wanted, rows, strict=True):
        missing = tuple(snapshot.thin(pair))
        found.append(NewOrder(kind, () if missing else tuple(row.tolist()), missing))
    return found


def ordered(snapshot: Snapshot, kind: Kind, stages_on: frozenset[str], number: int = 0) -> Standing:
    """A pair that is ordered now, or checked in now; due when the lab's standard day would be."""
    route = new_route(kind.way, Terms(stages_on, kind.by_parcel, kind.trims))
    places = rest(route, route[0], kind.trims)
    if kind.start == "check_in":
        places = places[1:]
    due = snapshot.calendar.add_working_days(today(snapshot), snapshot.standard_days[kind.way])
    return Standing(-1 - number, "", 0, kind.way, places, snapshot.at, due, steps=len(places))


def kinds_of(clinics: Sequence[tuple[bool, bool]]) -> list[Kind]:
    """Every route to every kind of clinic there is: by parcel or not, trimming itself or not."""
    different = sorted(set(clinics))
    return [Kind(way, *clinic, start) for way in WAYS for clinic in different for start in ("order", "check_in")]
