"""What the lab's own last days say of each place: how long pairs stayed, how many left a day, how many came back.

A pair stays as long as its later side. What is drawn from later is these times themselves, not a curve laid over them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from app.trade.worktime import WorkCalendar
from app.turnaround.rules.forecast.line import HELD, LINE, PLACE, TRIM_THERE, by_work

Minutes = NDArray[np.float64]
Whole = NDArray[np.int64]
Yes = NDArray[np.bool_]
FEWEST = 30
"""Finished stays. Of fewer nothing is forecast at a stage: the route's standard working days hold instead."""
WINDOW_DAYS = 90
CERTAIN = 4
"""Standard errors, so many that stays of days with more and with less to do are hardly ever taken for a line."""
LEAST_HOLDS = 5
"""Holds that waited on one party; of fewer, all holds together say how long one lasts."""


class Left(NamedTuple):
    """Sides that left a place, an entry each; instants in minutes of one clock."""

    pair: Whole
    move: Whole
    place: Whole
    minutes: Minutes
    entered: Minutes
    at: Minutes
    on: Yes
    """The work was done; false where it was sent back."""
    rework: Yes
    """Sent back for work to be done again: not where something was booked by mistake."""
    arrives: Yes
    """It came to stand at To dispense."""
    staff: Whole
    every: int = 1
    """Of so many pairs one is here: a large lab's days hold more than is needed to know them."""


class Stays(NamedTuple):
    """Stays of whole pairs: what its later side took."""

    pair: Whole
    place: Whole
    minutes: Minutes
    entered: Minutes
    at: Minutes


@dataclass(frozen=True, slots=True)
class Times:
    """Of one place. `a_day` and `people` are what a working day usually saw there; 0 where none of it was seen."""

    stays: Minutes = field(default_factory=lambda: np.zeros(0))
    a_day: float = 0.0
    people: int = 0
    back: float = 0.0
    back_minutes: Minutes = field(default_factory=lambda: np.zeros(0))


@dataclass(frozen=True, slots=True)
class Known:
    places: Mapping[str, Times]
    holds: Mapping[str, Minutes]
    """Working minutes by whom was waited on."""
    onward: Mapping[str, float]
    """Median minutes by the clock from coming to a place to standing at To dispense: a plain forecast, to compare."""
    stays: int

    def thin(self, place: str) -> bool:
        """Whether too few have left it to forecast from."""
        return not place.startswith(HELD) and len(self.places[place].stays) < FEWEST


def pair_stays(left: Left) -> Stays:
    """Of each move that brought work on, its pair's stay; where the other side was still there, that one counts."""
    order = np.lexsort((left.entered, left.place, left.move))
    order = order[left.on[order]]
    move, place = left.move[order], left.place[order]
    last = np.flatnonzero(np.diff(move, append=-1).astype(bool) | np.diff(place, append=-1).astype(bool))
    first = np.concatenate([[0], last[:-1] + 1]) if len(last) else last
    earliest = left.entered[order][first]
    chosen = order[last]
    pair, place, at = left.pair[chosen], left.place[chosen], left.at[chosen]
    line = np.lexsort((at, place, pair))
    following = np.concatenate([line[1:], line[:1]])
    same = (pair[line] == pair[following]) & (place[line] == place[following])
    waits = same & (earliest[following] < at[line]) & (at[following] >= at[line]) & (line != following)
    kept = chosen[line[~waits]]
    return Stays(left.pair[kept], left.place[kept], left.minutes[kept], left.entered[kept], left.at[kept])


class Window(NamedTuple):
    """The days that are looked back on, from `at`."""

    at: datetime
    calendar: WorkCalendar
    days: int = WINDOW_DAYS

    @property
    def since(self) -> datetime:
        return self.at - timedelta(days=self.days)

    def minutes(self, instant: datetime) -> float:
        """Before 0 what came before `at`."""
        return (instant - self.at) / timedelta(minutes=1)

    def local_days(self) -> list[date]:
        zone = ZoneInfo(self.calendar.zone)
        first, last = (instant.astimezone(zone).date() for instant in (self.since, self.at))
        return [first + timedelta(days=number) for number in range((last - first).days + 1)]


def know(left: Left, holds: Mapping[str, Minutes], window: Window, here: Mapping[str, Minutes] = {}) -> Known:
    """`holds` are working minutes by whom was waited on; `here` is when the pairs came that stand at a place now."""
    stays, days = pair_stays(left), window.local_days()
    zone = ZoneInfo(window.calendar.zone)
    midnights = np.array([window.minutes(datetime.combine(day, time(), zone).astimezone(UTC)) for day in days])
    worked = np.array([window.calendar.is_working_day(day) for day in days])
    day = np.searchsorted(midnights, stays.at, side="right") - 1
    back_minutes = _back_minutes(left, stays, window)
    places = {}
    for place in LINE:
        mine = stays.place == PLACE[place]
        sent_back = int((left.rework & (left.place == PLACE[place])).sum())
        finished = stays.minutes[mine]
        a_day = left.every * _usual_most(day[mine], worked)
        if by_work(place) and a_day:
            spans = Spans(finished, stays.entered[mine], stays.at[mine])
            cycle = window.calendar.standard_day_minutes() / a_day
            finished = _with_as_many_ahead(spans, here.get(place, np.zeros(0)), cycle, left.every)
        places[place] = Times(
            stays=finished,
            a_day=a_day,
            people=_hands(left, PLACE[place], midnights),
            back=sent_back / (sent_back + len(finished)) if sent_back else 0.0,
            back_minutes=back_minutes.get(place, np.zeros(0)),
        )
    return Known(places, _pooled(holds), _onward(stays, left), len(stays.pair))


class Spans(NamedTuple):
    """Stays at one place: how long, from and until when."""

    minutes: Minutes
    entered: Minutes
    at: Minutes


def _with_as_many_ahead(spans: Spans, here: Minutes, most: float, every: int) -> Minutes:
    """The stays as they would have been with as many pairs there as are now.

    A stay that came upon a long line was long for that. By how much each pair ahead lengthened the stays is fitted by
    least squares, between nothing and the `most` that a pair takes of the bench's day; where the fit can't be told from
    chance, the stays are left as they were.
    """
    came = np.sort(np.concatenate([spans.entered, here[::every]]))
    gone = np.sort(spans.at)
    ahead = np.searchsorted(came, spans.entered, side="left") - np.searchsorted(gone, spans.entered, side="right")
    ahead *= every
    off = ahead - ahead.mean()
    spread = float((off**2).sum())
    if len(ahead) < FEWEST or not spread:
        return spans.minutes
    slope = float((off * spans.minutes).sum()) / spread
    doubt = float(np.sqrt(((spans.minutes - spans.minutes.mean() - slope * off) ** 2).mean() / spread))
    if slope < CERTAIN * doubt:
        return spans.minutes
    shifted = spans.minutes + min(slope, most) * (len(here) - ahead)
    return np.maximum(shifted, np.percentile(spans.minutes, 5))


def _usual_most(days: Whole, worked: Yes) -> float:
    """The 90th percentile of how many left on a working day; days on which none did count, too."""
    counts = np.bincount(days[(days >= 0) & (days < len(worked))], minlength=len(worked))[worked]
    return max(1.0, float(np.percentile(counts, 90))) if len(days) and len(counts) else 0.0


def _hands(left: Left, place: int, midnights: Minutes) -> int:
    """How many people usually brought work on there in a day on which anybody did."""
    mine = left.on & (left.place == place)
    if not mine.any():
        return 0
    day = np.searchsorted(midnights, left.at[mine], side="right")
    different = np.unique(np.stack([day, left.staff[mine]]), axis=1)
    return int(np.median(np.unique(different[0], return_counts=True)[1]))


def _pooled(holds: Mapping[str, Minutes]) -> dict[str, Minutes]:
    """By place. Where nothing was ever held so, the pair goes on at once: it is said where it is shown."""
    everyone = np.concatenate([np.zeros(0), *holds.values()])
    found = {}
    for place in (each for each in LINE if each.startswith(HELD)):
        mine = holds.get(place.removeprefix(HELD), np.zeros(0))
        found[place] = mine if len(mine) >= LEAST_HOLDS else everyone
    return found


def _onward(stays: Stays, left: Left) -> dict[str, float]:
    """Of those that have arrived; each stay counts with its pair's next arrival."""
    there = left.on & left.arrives
    order = np.lexsort((left.at[there], left.pair[there]))
    pair, at = left.pair[there][order], left.at[there][order]
    if not len(pair):
        return {}
    # One number for pair and instant, so that the next arrival of the same pair is found for all at once.
    low = min(float(at.min()), float(stays.entered.min()))
    span = max(float(at.max()), float(stays.at.max())) - low + 1
    found = np.searchsorted(pair * span + (at - low), stays.pair * span + (stays.at - low), side="left")
    known = found < len(pair)
    known[known] &= pair[found[known]] == stays.pair[known]
    lasted = at[found[known]] - stays.entered[known]
    places = stays.place[known]
    return {LINE[place]: float(np.median(lasted[places == place])) for place in np.unique(places)}


def place_of_stay(stage: str, trims_at_clinic: bool) -> int:
    """Where a side stayed: a stage's own place, or the clinic's when it trims itself; -1 if it is on no way to it."""
    if stage == "trim" and trims_at_clinic:
        return PLACE[TRIM_THERE]
    return PLACE.get(stage, -1)


def _back_minutes(left: Left, stays: Stays, window: Window) -> dict[str, Minutes]:
    """From each sending back until the same work was done at last, by the place's clock."""
    found: dict[str, list[float]] = {}
    for number in np.flatnonzero(left.rework):
        after = (stays.pair == left.pair[number]) & (stays.place == left.place[number]) & (stays.at > left.at[number])
        if after.any():
            place, begins, ends = LINE[left.place[number]], float(left.at[number]), float(stays.at[after].min())
            spans = [window.at + timedelta(minutes=edge) for edge in (begins, ends)]
            lasted = window.calendar.minutes_between(*spans) if by_work(place) else ends - begins
            found.setdefault(place, []).append(lasted)
    return {place: np.array(minutes, dtype=np.float64) for place, minutes in found.items()}
