"""What flows through, week by week: whole weeks of a period, what left in each, and which weeks stand out."""

from collections.abc import Iterator, Sequence
from datetime import date, datetime, time, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from app.trade.estimates import Individuals, individuals, shares
from app.turnaround.rules.columns import KEPT, NO_PROMISE
from app.turnaround.rules.times import Looked

FEWEST_WEEKS = 6
"""Of fewer the limits say nothing."""
WEEK = timedelta(days=7)
LAYERS = {
    "To check in": ("check_in",),
    "The positive or its file": ("prepare", "pour", "carve", "correct"),
    "The shell": ("press", "mill", "grind"),
    "Cover and finish": ("cover", "trim", "inspect"),
    "On its way": ("send", "receive", "return"),
    "To dispense": ("dispense",),
}
"""Neighbouring stages as one layer: sixteen can't be told apart."""


class Weeks(NamedTuple):
    mondays: list[date]
    counts: list[int]
    kept: list[tuple[int, int]]
    """Of the whole way: how many came by their promised day in each week, of how many that had one."""
    limits: Individuals | None
    """None where there are too few weeks."""

    def outside(self) -> Iterator[str]:
        """The weeks that chance alone does not explain, in words."""
        if self.limits is None:
            return
        for place in self.limits.outside:
            count, much = self.counts[place], self.counts[place] > self.limits.mean
            limit = self.limits.high if much else max(self.limits.low, 0)
            more = "more" if much else "fewer"
            yield f"The week of {day_words(self.mondays[place])}: {count:,}, {more} than the limit of {limit:.1f}."

    def outside_kept(self) -> Iterator[str]:
        """The weeks whose share of promises kept chance alone does not explain."""
        hits, sizes = zip(*self.kept, strict=True)
        found = shares(hits, sizes)
        for place in found.outside:
            much = found.share[place] > found.mean
            limit = found.high[place] if much else found.low[place]
            yield (
                f"The week of {day_words(self.mondays[place])}: {hits[place]} of {sizes[place]}, "
                f"{'more' if much else 'less'} than the limit of {100 * limit:.0f} %."
            )


def instant(day: date, zone: str) -> int:
    """The beginning of a day, in minutes since 1970."""
    return int(datetime.combine(day, time(), ZoneInfo(zone)).timestamp() // 60)


def weeks(looked: Looked, row: str, now: int, zone: str) -> Weeks:
    """What left a row in each whole week of the period that is over, from the first week in which something did."""
    mondays = _mondays(looked.begins, min(looked.ends, now), zone)
    edges = np.array([instant(day, zone) for day in mondays], dtype=np.int64)
    if len(edges) < 2:
        return Weeks([], [], [], None)
    gone = looked.gone(row, int(edges[0]), int(edges[-1]))
    week = np.searchsorted(edges, gone.left, side="right") - 1
    counts, kept, promised = (
        np.bincount(week[chosen], minlength=len(edges) - 1)
        for chosen in (slice(None), gone.kept == KEPT, gone.kept != NO_PROMISE)
    )
    some = np.flatnonzero(counts)
    first = int(some[0]) if len(some) else len(counts)
    found = counts[first:].tolist()
    limits = individuals(found) if len(found) >= FEWEST_WEEKS else None
    of = list(zip(kept[first:].tolist(), promised[first:].tolist(), strict=True))
    return Weeks(mondays[first:-1], found, of, limits)


class Flow(NamedTuple):
    days: list[date]
    layers: list[tuple[str, list[int]]]
    """How many sides stood there at the beginning of each of the days."""


def flow(looked: Looked, now: int, today: date, zone: str) -> Flow:
    """Mondays of the period, and today where it is in it."""
    days = _mondays(looked.begins, min(looked.ends, now), zone)
    mondays = tuple(instant(day, zone) for day in days)
    layers = {name: looked.standing_at(rows, mondays).tolist() for name, rows in LAYERS.items()}
    if now < looked.ends and days and today > days[-1]:
        days = [*days, today]
        layers = {name: [*counts, _now(looked, LAYERS[name])] for name, counts in layers.items()}
    return Flow(days, list(layers.items()))


def _now(looked: Looked, rows: Sequence[str]) -> int:
    return sum(len(looked.here(row)) for row in rows)


def day_words(day: date) -> str:
    return f"{day.day} {day:%b %Y}"


def _mondays(begins: int, ends: int, zone: str) -> list[date]:
    """From the first Monday that lies in the time on; of whole weeks the last of them is the end."""
    first, last = (datetime.fromtimestamp(60 * at, ZoneInfo(zone)).date() for at in (begins, ends))
    first += timedelta(days=-first.weekday() % 7)
    return [first + WEEK * place for place in range(max(0, (last - first).days // 7 + 1))]
