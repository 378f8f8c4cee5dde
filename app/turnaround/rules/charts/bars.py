"""Reasons as bars, from the most usual down, with what they make together (after Pareto)."""

from collections.abc import Callable, Sequence
from typing import NamedTuple

from app.trade.estimates import ParetoRow
from app.turnaround.rules.charts import drawing as d
from app.turnaround.rules.charts.drawing import SIZE, WIDE, Bar, Chart, Mark, Path, Row, Text
from app.turnaround.rules.charts.plane import Plane, lanes, row_height, row_links
from app.turnaround.rules.charts.ticks import SHARE

MOST_ROWS = 10
_QUARTERS = (0, 0.25, 0.5, 0.75, 1)


class _Bar(NamedTuple):
    label: str
    row: ParetoRow
    href: str


def ranked(
    rows: Sequence[ParetoRow],
    *,
    title: str,
    words: Callable[[str], str] = str,
    href: Callable[[str], str] = lambda _: "",
    things: str = "pairs",
) -> Chart:
    """A bar for each row, and a line of what all so far make together, on the same axis from 0 to 100 %.

    `words` and `href` make a row's label and its address of its key. Beyond ten rows the rest stand together as one.
    """
    everyone = [_Bar(words(each.key), each, href(each.key)) for each in rows]
    bars = _shortened(everyone)
    high = row_height(each.href for each in bars)
    plane = _plane(bars, high)
    placed = lanes(plane, bars)
    points = [(plane.x(each.row.running), y) for each, y in placed]
    return Chart(
        title=title,
        alt=_told(bars, len(rows), things),
        height=round(plane.bottom + 10),
        grid=tuple(Path(d.down(plane.x(at), plane.top, plane.bottom), "grid" if at else "axis") for at in _QUARTERS),
        bars=tuple(Bar(plane.left, y - 9, plane.x(each.row.share) - plane.left, 18, "solid") for each, y in placed),
        lines=(Path(d.straight(points), "running"),) if points else (),
        marks=tuple(Mark(x, y, "circle", "mark-running") for x, y in points),
        texts=(*_scale(plane, things), *(text for each, y in placed for text in _row_texts(each, y, plane))),
        links=tuple(row_links(high, ((y, each.href, _said(each, things)) for each, y in placed))),
        heads=("", things.capitalize(), "Share", "Together"),
        rows=tuple(_row(each) for each in everyone),
    )


def _shortened(bars: Sequence[_Bar]) -> list[_Bar]:
    if len(bars) <= MOST_ROWS:
        return list(bars)
    kept, rest = bars[: MOST_ROWS - 1], [each.row for each in bars[MOST_ROWS - 1 :]]
    together = ParetoRow("", sum(each.count for each in rest), sum(each.share for each in rest), rest[-1].running)
    return [*kept, _Bar(f"{len(rest)} others", together, "")]


def _plane(bars: Sequence[_Bar], high: float) -> Plane:
    """Left of it label and count, right of it what the rows make together."""
    names = max((d.reach(each.label) for each in bars), default=0)
    counts = max((d.reach(f"{each.row.count:,}") for each in bars), default=0)
    return Plane(min(names, 250) + counts + 24, WIDE - 60, 46, 46 + high * len(bars))


def _row(bar: _Bar) -> Row:
    shares = SHARE.words(bar.row.share), SHARE.words(bar.row.running)
    return Row((bar.label, f"{bar.row.count:,}", *shares), bar.href)


def _scale(plane: Plane, things: str) -> list[Text]:
    """The shares above the field, and what the column left of it and the line right of it are."""
    marks = [Text(plane.x(at), plane.top - 8, SHARE.mark(at), "middle", "soft") for at in _QUARTERS[:-1]]
    return [
        *marks,
        Text(max(plane.left - 8, d.reach(things)), plane.top - 28, things, "end", "soft"),
        Text(WIDE, plane.top - 28, "together (the line)", "end", "soft"),
        Text(plane.right, plane.top - 8, SHARE.words(1), "middle", "soft"),
    ]


def _row_texts(bar: _Bar, y: float, plane: Plane) -> list[Text]:
    baseline = y + 0.35 * SIZE
    count = Text(plane.left - 8, baseline, f"{bar.row.count:,}", "end", "strong")
    label, full = d.cut(bar.label, count.box[0] - 8)
    together = Text(WIDE, baseline, SHARE.words(round(bar.row.running, 2)), "end", "soft")
    return [Text(0, baseline, label, "start", "ink", full), count, together]


def _said(bar: _Bar, things: str) -> str:
    return f"{bar.label}: {bar.row.count:,} {things}, {SHARE.words(bar.row.share)}"


def _told(bars: Sequence[_Bar], count: int, things: str) -> str:
    if not bars:
        return f"No {things}."
    total = sum(each.row.count for each in bars)
    first = f"Of {total:,} {things}, {bars[0].row.count:,} ({SHARE.words(bars[0].row.share)}) are “{bars[0].label}”"
    if len(bars) == 1:
        return f"{first}."
    most = next(place for place, each in enumerate(bars, 1) if each.row.running >= 0.8)
    return f"{first}, the most usual of {count}; the first {most} make {SHARE.words(bars[most - 1].row.running)}."
