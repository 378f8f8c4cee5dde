"""How a wearer stood over time, drawn: a small line for each figure of each side, without and with devices."""

from collections.abc import Iterable
from datetime import date
from typing import NamedTuple

from app.bench.rules.machine import SIDE_WORDS
from app.fitting.queries.stance import MeasureRow
from app.fitting.rules.stance import KINDS, figure_words, figures

WIDE, HIGH = 320, 120
"""The drawing's own units; the page scales it."""
LEFT, RIGHT, TOP, BOTTOM = 12, 308, 16, 104
LEAST_SPAN = {"index": 0.05}
"""What the height of a drawing stands for at least, so that a difference of nothing does not look like a slope; of the
rest 4 degrees, points or millimetres."""


class Dot(NamedTuple):
    x: float
    y: float


class Series(NamedTuple):
    devices: str
    """without or with"""
    points: str
    dots: tuple[Dot, ...]


class Chart(NamedTuple):
    title: str
    side: str
    words: str
    """What the drawing shows, for those who hear the page."""
    highest: str
    lowest: str
    first_on: date
    last_on: date
    zero: float | None
    """Where the vertical, or a total of nothing, is crossed."""
    series: tuple[Series, ...]


class _Seen(NamedTuple):
    on: date
    value: float
    devices: str


def over_time(rows: Iterable[MeasureRow], zone: str, units: str) -> list[Chart]:
    """A chart for each figure of each side that was taken on two days at least."""
    seen: dict[tuple[str, str, str], list[_Seen]] = {}
    for row in rows:
        for name, value in figures(row.kind, row.side, row.found).items():
            each = _Seen(row.day(zone), value, "with" if row.with_devices else "without")
            seen.setdefault((row.kind, name, row.side), []).append(each)
    order = [(kind, name, side) for kind, made in KINDS.items() for name in made.figures for side in "LR"]
    return [_chart(*key, seen[key], units) for key in order if len({each.on for each in seen.get(key, ())}) > 1]


def _chart(kind: str, name: str, side: str, seen: list[_Seen], units: str) -> Chart:
    title, first, last = KINDS[kind].figures[name], seen[0].on, max(each.on for each in seen)
    low, high = min(each.value for each in seen), max(each.value for each in seen)
    middle, span = (low + high) / 2, max(high - low, LEAST_SPAN.get(name, 4.0))

    def place(each: _Seen) -> Dot:
        along = (each.on - first) / (last - first)
        return Dot(round(LEFT + along * (RIGHT - LEFT), 1), height(each.value))

    def height(value: float) -> float:
        return round((TOP + BOTTOM) / 2 - (value - middle) / span * (BOTTOM - TOP), 1)

    series = []
    for devices in ("without", "with"):
        dots = tuple(place(each) for each in seen if each.devices == devices)
        if dots:
            series.append(Series(devices, " ".join(f"{dot.x},{dot.y}" for dot in dots), dots))
    said = ", then ".join(f"{figure_words(name, each.value, units)} {each.devices} devices" for each in seen)
    crossed = height(0.0) if name.endswith("_deg") or name == "total" else None
    return Chart(
        title=title,
        side=SIDE_WORDS[side],
        words=f"{title}, {SIDE_WORDS[side]}, the oldest first: {said}",
        highest=figure_words(name, high, units),
        lowest=figure_words(name, low, units),
        first_on=first,
        last_on=last,
        zero=crossed if crossed is not None and TOP <= crossed <= BOTTOM else None,
        series=tuple(series),
    )
