"""How a wearer stood and what was told over time, drawn: a small line for each figure of each side, for each score."""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import NamedTuple

from app.bench.rules.machine import SIDE_WORDS
from app.fitting.queries.stance import MeasureRow
from app.fitting.rules.outcome import BEFORE, Told
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
    """without or with; empty for a score"""
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
    scale: str = ""
    """What a score counts from and to; its drawing is as high as the scale."""


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
    title = KINDS[kind].figures[name]
    low, high = min(each.value for each in seen), max(each.value for each in seen)
    middle, span = (low + high) / 2, max(high - low, LEAST_SPAN.get(name, 4.0))
    said = ", then ".join(f"{figure_words(name, each.value, units)} {each.devices} devices" for each in seen)
    crossed = _height(0.0, middle, span) if name.endswith("_deg") or name == "total" else None
    return Chart(
        title=title,
        side=SIDE_WORDS[side],
        words=f"{title}, {SIDE_WORDS[side]}, the oldest first: {said}",
        highest=figure_words(name, high, units),
        lowest=figure_words(name, low, units),
        first_on=seen[0].on,
        last_on=max(each.on for each in seen),
        zero=crossed if crossed is not None and TOP <= crossed <= BOTTOM else None,
        series=_series(seen, middle, span),
    )


def _series(seen: list[_Seen], middle: float, span: float) -> tuple[Series, ...]:
    first, last = seen[0].on, max(each.on for each in seen)
    series = []
    for devices in dict.fromkeys(sorted((each.devices for each in seen), reverse=True)):
        dots = tuple(
            Dot(round(LEFT + (each.on - first) / (last - first) * (RIGHT - LEFT), 1), _height(each.value, middle, span))
            for each in seen
            if each.devices == devices
        )
        series.append(Series(devices, " ".join(f"{dot.x},{dot.y}" for dot in dots), dots))
    return tuple(series)


def _height(value: float, middle: float, span: float) -> float:
    return round((TOP + BOTTOM) / 2 - (value - middle) / span * (BOTTOM - TOP), 1)


def scores_over_time(told: Sequence[Told]) -> list[Chart]:
    """A chart for each score that was told on two days at least, on the whole of its scale."""
    charts = []
    for name, (label, scale) in BEFORE.items():
        said = [(each, value) for each in told if (value := getattr(each, name)) is not None]
        if len({each.on for each, _ in said}) < 2:
            continue
        words = ", then ".join(f"{value} {each.when.lower()}" for each, value in said)
        values = [value for _, value in said]
        charts.append(
            Chart(
                title=label,
                side="",
                scale=scale,
                words=f"{label}, {scale}, the oldest first: {words}",
                highest=str(max(values)),
                lowest=str(min(values)),
                first_on=said[0][0].on,
                last_on=said[-1][0].on,
                zero=None,
                series=_series([_Seen(each.on, value, "") for each, value in said], 5, 10),
            )
        )
    return charts
