"""What is usual variation and what is not: control charts, in which a point outside has another shape and its name.

The limits are worked out in app/trade/estimates.
"""

from collections.abc import Sequence
from itertools import chain, pairwise
from math import ceil, dist, isnan
from statistics import median
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.trade import estimates
from app.trade.estimates import Individuals
from app.turnaround.rules.charts import drawing as d
from app.turnaround.rules.charts.drawing import SIZE, Chart, Mark, Path, Row, Text
from app.turnaround.rules.charts.plane import (
    HEIGHT,
    Plane,
    at_right,
    beneath,
    captions,
    column_links,
    room_at_right,
    up,
    upright,
)
from app.turnaround.rules.charts.ticks import SHARE, Unit

Points = list[tuple[float, float]]


class Measured(NamedTuple):
    """One value of an individuals chart: a week's median, say, of so many things."""

    label: str
    value: float
    size: int
    href: str = ""


class Sampled(NamedTuple):
    """One sample of a p-chart: so many of so many."""

    label: str
    hits: int
    size: int
    href: str = ""


class _Point(NamedTuple):
    label: str
    value: float
    low: float
    high: float
    size: int
    href: str

    @property
    def known(self) -> bool:
        """Of no things there is no share."""
        return not isnan(self.value)

    @property
    def outside(self) -> bool:
        return self.known and not self.low <= self.value <= self.high


def values(
    measured: Sequence[Measured], limits: Individuals, *, title: str, unit: Unit, things: str = "pairs", above: str = ""
) -> Chart:
    """Values in their order with their limits; a lower limit below 0 is not drawn, as nothing lasts less than that."""
    points = [_Point(each.label, each.value, limits.low, limits.high, each.size, each.href) for each in measured]
    return _chart(points, limits.mean, title, unit, things, above)


def ranges(
    measured: Sequence[Measured], limits: Individuals, *, title: str, unit: Unit, things: str = "pairs", above: str = ""
) -> Chart:
    """How far each value is from the one before it; the first value has none, and there are two at least."""
    points = [
        _Point(each.label, abs(each.value - before.value), 0, limits.range_high, each.size, each.href)
        for before, each in pairwise(measured)
    ]
    return _chart(points, limits.range_mean, title, unit, things, above)


def shares(sampled: Sequence[Sampled], *, title: str, things: str = "pairs", above: str = "") -> Chart:
    """A p-chart: the share of each sample, with limits that follow its size. OutOfRange when all are empty."""
    found = estimates.shares([each.hits for each in sampled], [each.size for each in sampled])
    limits = zip(found.share.tolist(), found.low.tolist(), found.high.tolist(), strict=True)
    points = [
        _Point(each.label, *share_and_limits, each.size, each.href)
        for each, share_and_limits in zip(sampled, limits, strict=True)
    ]
    return _chart(points, found.mean, title, SHARE, things, above)


def _chart(points: Sequence[_Point], mean: float, title: str, unit: Unit, things: str, above: str) -> Chart:
    known = [each for each in points if each.known]
    names = _limit_names(known, mean, unit)
    marks = unit.ticks(0, _reached(known, mean))
    plane = upright(marks, unit, right=room_at_right([name for _, name in names]))
    grid, words = up(plane, marks, unit)
    places = [plane.column(index, len(points)) for index in range(len(points))]
    threads = d.runs(places, [plane.y(each.value) if each.known else None for each in points])
    dots = [_dot(x, y, point) for (x, y), point in zip(chain(*threads), known, strict=True)]
    leads, named = at_right(plane, [(plane.y(min(value, plane.high)), name) for value, name in names])
    labels = beneath(plane, [(x, each.label) for x, each in zip(places, points, strict=True)], kind="ink")
    sizes = beneath(plane, [(x, f"{each.size:,}") for x, each in zip(places, points, strict=True)], line=1)
    limits = _limits(places, points, plane)
    level = [[(plane.left, plane.y(at)), (plane.right, plane.y(at))] for at in (mean, *marks)]
    called = _called(known, dots, [[(dot.x, dot.y) for dot in dots], *limits, *level], plane, unit)
    below = f"under each: how many {things}"
    return Chart(
        title=title,
        alt=_told(points, mean, unit, things),
        height=HEIGHT,
        grid=(*grid, *leads),
        lines=(
            Path(d.along(plane.left, plane.right, plane.y(mean)), "mean"),
            *(Path(d.straight(limit), "limit") for limit in limits),
            *(Path(d.straight(thread), "thread") for thread in threads),
        ),
        marks=tuple(dots),
        texts=(*words, *labels, *sizes, *named, *called, *captions(plane, above, below)),
        links=tuple(column_links(plane, [(each.href, _said(each, unit, things)) for each in points])),
        heads=("", "Figure", "Limits", "Counted", "Finding"),
        rows=tuple(_row(each, unit) for each in points),
    )


def _reached(known: Sequence[_Point], mean: float) -> float:
    """How high the field has to be, with room for a name above what is outside.

    The limits of a few small samples may lie above it; they tell next to nothing.
    """
    values = [1.05 * each.value if each.outside else each.value for each in known]
    return max([mean, *values, 1.1 * median([each.high for each in known] or [mean])]) or 1


def _limit_names(known: Sequence[_Point], mean: float, unit: Unit) -> list[tuple[float, str]]:
    """The limits as they are at the right end, with their words."""
    names = [(mean, f"mean {unit.words(mean)}")]
    if known:
        names.append((known[-1].high, f"upper limit {unit.words(known[-1].high)}"))
        if known[-1].low > 0:
            names.append((known[-1].low, f"lower limit {unit.words(known[-1].low)}"))
    return names


def _limits(places: Sequence[float], points: Sequence[_Point], plane: Plane) -> list[Points]:
    """A step over each point's column, for the limits above and below, where there are any and they can be reached."""
    half = plane.column_width(len(points)) / 2
    highs = [plane.y(min(each.high, plane.high)) if each.known else None for each in points]
    lows = [plane.y(each.low) if each.known and each.low > 0 else None for each in points]
    level = [run for heights in (highs, lows) for run in d.runs(places, heights)]
    return [[corner for x, y in run for corner in ((x - half, y), (x + half, y))] for run in level]


def _dot(x: float, y: float, point: _Point) -> Mark:
    shape, look = ("diamond", "mark-outside") if point.outside else ("circle", "mark-0")
    return Mark(x, y, shape, look)


def _called(
    known: Sequence[_Point], dots: Sequence[Mark], lines: Sequence[Points], plane: Plane, unit: Unit
) -> list[Text]:
    """The points outside by name and figure, where there is room beside them; the table has them all."""
    called: list[Text] = []
    beads = np.array([bead for line in lines for bead in _beads(line)]).reshape(-1, 4).T
    for point, dot in zip(known, dots, strict=True):
        if point.outside:
            spots = _spots(dot, f"{point.label}: {unit.words(point.value)}", plane)
            clear = [spot for spot in spots if not any(d.meet(spot.box, other.box, 3) for other in called)]
            # Rather over a line than not at all, but never over a point or a name.
            clear = [spot for spot in clear if not any(d.meet(spot.box, _about(each)) for each in dots)]
            called += sorted(clear, key=lambda spot: _run_through(spot.box, beads))[:1]
    return called


def _run_through(box: d.Box, beads: NDArray[np.float64]) -> int:
    """How many of the beads, four rows as in a box, lie in it: for each of them as `meet`."""
    left, top, right, bottom = beads
    return int(np.count_nonzero((box[0] < right) & (left < box[2]) & (box[1] < bottom) & (top < box[3])))


def _spots(dot: Mark, words: str, plane: Plane) -> list[Text]:
    """Above, right, left and below of a point, and above it to either side, as far as that is within the field."""
    half, level = d.reach(words) / 2, dot.y + 0.35 * SIZE
    middle = min(max(dot.x, plane.left + half), plane.right - half)
    spots = [
        Text(middle, dot.y - 13, words, "middle", "strong"),
        Text(dot.x + 13, level, words, "start", "strong"),
        Text(dot.x - 13, level, words, "end", "strong"),
        Text(middle, dot.y + 13 + 0.8 * SIZE, words, "middle", "strong"),
        Text(dot.x - 6, dot.y - 13, words, "start", "strong"),
        Text(dot.x + 6, dot.y - 13, words, "end", "strong"),
    ]
    field = (plane.left, plane.top - 14, plane.right, plane.bottom)
    return [spot for spot in spots if _holds(field, spot.box)]


def _holds(field: d.Box, box: d.Box) -> bool:
    return field[0] <= box[0] and field[1] <= box[1] and box[2] <= field[2] and box[3] <= field[3]


def _about(dot: Mark) -> d.Box:
    return (dot.x - 6, dot.y - 6, dot.x + 6, dot.y + 6)


def _beads(line: Points) -> list[d.Box]:
    """A line as small boxes on it, one beside the other, to see how far it runs through something."""
    beads = []
    for (x1, y1), (x2, y2) in pairwise(line):
        parts = ceil(dist((x1, y1), (x2, y2)) / 4)
        for part in range(1, parts):
            x, y = x1 + (x2 - x1) * part / parts, y1 + (y2 - y1) * part / parts
            beads.append((x - 2, y - 2, x + 2, y + 2))
    return beads


def _said(point: _Point, unit: Unit, things: str) -> str:
    if not point.known:
        return f"{point.label}: no {things}"
    return f"{point.label}: {unit.words(point.value)} of {point.size:,} {things}, {_finding(point)}"


def _finding(point: _Point) -> str:
    if not point.outside:
        return "within the limits"
    return "above its upper limit" if point.value > point.high else "below its lower limit"


def _told(points: Sequence[_Point], mean: float, unit: Unit, things: str) -> str:
    outside = [f"{each.label} ({unit.words(each.value)}, {_finding(each)})" for each in points if each.outside]
    counted = f"{len(points)} points of {sum(each.size for each in points):,} {things}, mean {unit.words(mean)}"
    if not outside:
        return f"{counted}: none is outside of its limits, so what differs is usual variation."
    return f"{counted}: {len(outside)} outside of the limits: {', '.join(outside)}."


def _row(point: _Point, unit: Unit) -> Row:
    if not point.known:
        return Row((point.label, "—", "—", "0", ""), point.href)
    low = unit.words(max(point.low, 0))
    limits = f"{low} – {unit.words(point.high)}"
    return Row((point.label, unit.words(point.value), limits, f"{point.size:,}", _finding(point)), point.href)
