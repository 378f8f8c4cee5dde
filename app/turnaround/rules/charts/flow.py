"""How many pairs stood where on each day: stacked layers, told apart by pattern and by their names at the right.

The height of a layer is how much is there; where one grows, more comes than goes.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from app.turnaround.rules.charts import drawing as d
from app.turnaround.rules.charts.drawing import LINE, Chart, Path, Row
from app.turnaround.rules.charts.plane import HEIGHT, across, at_right, captions, room_at_right, up, upright
from app.turnaround.rules.charts.ticks import COUNT, day_ticks

PATTERNS = 8
"""How many looks of layers there are; the ninth layer looks like the first."""


class Layer(NamedTuple):
    """A stage with its count on each of the days; `href` is where its row of the table leads."""

    label: str
    counts: Sequence[int]
    href: str = ""


def flow(days: Sequence[date], layers: Sequence[Layer], *, title: str, things: str = "pairs") -> Chart:
    """Layers from the lowest up (what is done first, then the last stage), one count a day; two days at least."""
    counts = np.array([each.counts for each in layers], dtype=np.int64)
    edges = np.vstack([np.zeros(len(days), dtype=np.int64), counts.cumsum(axis=0)])
    marks = COUNT.ticks(0, int(edges[-1].max()) or 1)
    names = [f"{each.label} {each.counts[-1]:,}" for each in layers]
    # So high that each layer's name has its own line.
    more = max(0.0, (len(layers) + 1) * LINE - (HEIGHT - 100))
    plane = upright(marks, COUNT, right=room_at_right(names))
    plane = replace(plane, bottom=plane.bottom + more, first=days[0].toordinal(), last=days[-1].toordinal())
    grid, words = up(plane, marks, COUNT)
    strokes, marked = across(plane, [(plane.x(day.toordinal()), said) for day, said in day_ticks(days[0], days[-1])])
    middles = [plane.y(float(low + high) / 2) for low, high in zip(edges[:-1, -1], edges[1:, -1], strict=True)]
    leads, named = at_right(plane, list(zip(middles, names, strict=True)))
    places = [plane.x(day.toordinal()) for day in days]
    outlines = [[(x, plane.y(float(at))) for x, at in zip(places, edge, strict=True)] for edge in edges]
    return Chart(
        title=title,
        alt=_told(days, layers, things),
        height=round(HEIGHT + more),
        areas=tuple(
            Path(f"{d.straight([*low, *reversed(high)])}z", f"layer-{index % PATTERNS}")
            for index, (low, high) in enumerate(pairwise(outlines))
        ),
        grid=(*grid, *strokes, *leads),
        lines=tuple(Path(d.straight(each), "edge") for each in outlines[1:]),
        texts=(*words, *marked, *named, *captions(plane, things, "at the right, how many on the last day")),
        heads=("", *(f"{day.day}\u00a0{day:%b}" for day in _shown(days))),
        rows=tuple(_row(each, days) for each in reversed(layers)),
    )


def _shown(days: Sequence[date]) -> list[date]:
    """The days of the table: the first, the last and a few between."""
    places = sorted({round(part * (len(days) - 1) / 4) for part in range(5)})
    return [days[place] for place in places]


def _row(layer: Layer, days: Sequence[date]) -> Row:
    at = dict(zip(days, layer.counts, strict=True))
    return Row((layer.label, *(f"{at[day]:,}" for day in _shown(days))), layer.href)


def _told(days: Sequence[date], layers: Sequence[Layer], things: str) -> str:
    last = sum(each.counts[-1] for each in layers)
    told = f"{last:,} {things} on {_day(days[-1])}, after {sum(each.counts[0] for each in layers):,} on {_day(days[0])}"
    grown = max(layers, key=lambda each: each.counts[-1] - each.counts[0])
    if grown.counts[-1] <= grown.counts[0]:
        return f"{told}; no layer grew."
    return f"{told}; {grown.label} grew most, from {grown.counts[0]:,} to {grown.counts[-1]:,}."


def _day(day: date) -> str:
    return f"{day.day} {day:%b %Y}"
