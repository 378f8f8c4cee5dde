"""How a usual and a long time went from month to month, as two lines with their bands."""

from collections.abc import Sequence
from typing import NamedTuple

from app.turnaround.rules.charts import drawing as d
from app.turnaround.rules.charts.drawing import Chart, Mark, Path, Row
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
from app.turnaround.rules.charts.ticks import Unit

Ends = tuple[float | None, float | None]
NAMES = ("median", "90th percentile")
_SHAPES = ("circle", "square")


class Stretch(NamedTuple):
    """A month, or a week; what can't be known yet is None, a band's end, too."""

    label: str
    size: int
    median: float | None
    ninetieth: float | None
    median_band: Ends | None = None
    ninetieth_band: Ends | None = None
    href: str = ""

    @property
    def figures(self) -> tuple[tuple[float | None, Ends | None], ...]:
        return (self.median, self.median_band), (self.ninetieth, self.ninetieth_band)


def over_time(stretches: Sequence[Stretch], *, title: str, unit: Unit, things: str = "stays", above: str = "") -> Chart:
    """Median and 90th percentile of each stretch, its band as a stroke through it, and how many are in it.

    `above` says which time is meant. A band that reaches off the field has no end there.
    """
    known = [value for each in stretches for value, _ in each.figures if value is not None]
    marks = unit.ticks(0, 1.15 * max(known, default=1) or 1)
    plane = upright(marks, unit, right=room_at_right(NAMES))
    grid, words = up(plane, marks, unit)
    places = [plane.column(index, len(stretches)) for index in range(len(stretches))]
    lines, dots, ends = [], [], []
    for which, name in enumerate(NAMES):
        lines += _bands([each.figures[which][1] for each in stretches], places, plane)
        runs = d.runs(places, [None if value is None else plane.y(value) for value in _values(stretches, which)])
        lines += [Path(d.straight(run), f"line-{which}") for run in runs]
        seen = [Mark(x, y, _SHAPES[which], f"mark-{which}") for run in runs for x, y in run]
        dots += seen
        ends += [(seen[-1].y, name)] if seen else []
    leads, names = at_right(plane, ends)
    labels = beneath(plane, [(x, each.label) for x, each in zip(places, stretches, strict=True)], kind="ink")
    counts = beneath(plane, [(x, f"{each.size:,}") for x, each in zip(places, stretches, strict=True)], line=1)
    return Chart(
        title=title,
        alt=_told(stretches, unit, things),
        height=HEIGHT,
        grid=(*grid, *leads),
        lines=tuple(lines),
        marks=tuple(dots),
        texts=(*words, *labels, *counts, *names, *captions(plane, above, f"under each: how many {things}")),
        links=tuple(column_links(plane, [(each.href, f"{each.label}: {each.size:,} {things}") for each in stretches])),
        heads=("", "Median", "90th percentile", "Counted"),
        rows=tuple(_row(each, unit) for each in stretches),
    )


def _values(stretches: Sequence[Stretch], which: int) -> list[float | None]:
    return [each.figures[which][0] for each in stretches]


def _bands(bands: Sequence[Ends | None], places: Sequence[float], plane: Plane) -> list[Path]:
    """A stroke from end to end, with a foot at each end that is known and in sight."""
    drawn = []
    for x, band in zip(places, bands, strict=True):
        if band is None or band[0] is None:
            continue
        low = plane.y(min(band[0], plane.high))
        high = plane.top if band[1] is None else max(plane.y(band[1]), plane.top)
        feet = d.along(x - 4, x + 4, low) + (d.along(x - 4, x + 4, high) if high > plane.top else "")
        drawn.append(Path(d.down(x, low, high) + feet, "whisker"))
    return drawn


def _said(value: float | None, unit: Unit) -> str:
    return "not known yet" if value is None else unit.words(value)


def _told(stretches: Sequence[Stretch], unit: Unit, things: str) -> str:
    counted = f"{sum(each.size for each in stretches):,} {things}"
    known = [each for each in stretches if each.median is not None]
    if not known:
        return f"{counted}; no median is known yet."
    first, last = known[0], known[-1]
    now = f"in {last.label} the median of {last.size:,} was {_said(last.median, unit)}"
    nine = f"the 90th percentile {_said(last.ninetieth, unit)}"
    if first is last:
        return f"{counted}: {now}, {nine}."
    before = f"in {first.label} the median of {first.size:,} was {_said(first.median, unit)}"
    return f"{counted}: {now}, {nine}; {before}."


def _row(stretch: Stretch, unit: Unit) -> Row:
    cells = []
    for value, band in stretch.figures:
        doubt = f" ({_said(band[0], unit)} – {_said(band[1], unit)})" if band else ""
        cells.append(_said(value, unit) + doubt)
    return Row((stretch.label, *cells, f"{stretch.size:,}"), stretch.href)
