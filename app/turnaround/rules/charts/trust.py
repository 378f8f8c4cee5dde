"""How forecasts have held: of those that named a day with a chance, the share that was there by it."""

from collections.abc import Sequence
from typing import NamedTuple

from app.trade.estimates import wilson
from app.turnaround.rules.charts import drawing as d
from app.turnaround.rules.charts.drawing import LINE, SIZE, WIDE, Chart, Mark, Path, Row, Text
from app.turnaround.rules.charts.plane import Plane, across, lanes, row_height, row_links
from app.turnaround.rules.charts.ticks import SHARE

_MARKS = (0, 0.25, 0.5, 0.75, 1)


class Kept(NamedTuple):
    """Of `size` forecasts that gave the chance `level` (0 to 1) for a day, `hits` were there by it."""

    label: str
    level: float
    hits: int
    size: int
    href: str = ""

    @property
    def share(self) -> float:
        return self.hits / self.size

    @property
    def doubt(self) -> tuple[float, float]:
        return wilson(self.hits, self.size)

    @property
    def finding(self) -> str:
        """Whether what was said can be told from what came."""
        low, high = self.doubt
        if self.level > high:
            return "said too early"
        return "said too late" if self.level < low else "as said"


def trust(rows: Sequence[Kept], *, title: str, things: str = "forecasts") -> Chart:
    """A row for each: a stroke at what was said, a mark with its doubt (Wilson, 95 %) at what came. None is empty."""
    high = row_height(each.href for each in rows)
    plane = _plane(rows, high)
    placed = lanes(plane, rows)
    strokes, marked = across(plane, [(plane.x(at), SHARE.words(at)) for at in _MARKS])
    grid = [Path(d.down(plane.x(at), plane.top, plane.bottom), "grid") for at in _MARKS]
    key_lines, key_marks, key_words = _key(plane)
    return Chart(
        title=title,
        alt=_told(rows, things),
        height=round(plane.bottom + 2 * LINE + 24),
        grid=(*grid, Path(d.along(plane.left, plane.right, plane.bottom), "axis"), *strokes),
        lines=(*(line for each, y in placed for line in _lines(each, y, plane)), *key_lines),
        marks=(*(_mark(each, plane.x(each.share), y) for each, y in placed), *key_marks),
        texts=(*marked, *key_words, *(text for each, y in placed for text in _texts(each, y, plane))),
        links=tuple(row_links(high, ((y, each.href, f"{each.label}: {_came(each, things)}") for each, y in placed))),
        heads=("", "Said", "Came", "95 % between", "Counted", "Finding"),
        rows=tuple(_row(each) for each in rows),
    )


def _plane(rows: Sequence[Kept], high: float) -> Plane:
    names = min(max(map(d.reach, (each.label for each in rows)), default=0), 230)
    said = max((d.reach(_at_right(each)) for each in rows), default=0)
    return Plane(names + 26, WIDE - said - 26, 14, 14 + high * len(rows))


def _lines(kept: Kept, y: float, plane: Plane) -> list[Path]:
    """The doubt as a stroke with feet, and what was said as a thick upright one."""
    low, high = (plane.x(share) for share in kept.doubt)
    feet = d.down(low, y - 4, y + 4) + d.down(high, y - 4, y + 4)
    return [Path(d.along(low, high, y) + feet, "whisker"), Path(d.down(plane.x(kept.level), y - 10, y + 10), "aim")]


def _mark(kept: Kept, x: float, y: float) -> Mark:
    return Mark(x, y, "circle", "mark-0") if kept.finding == "as said" else Mark(x, y, "diamond", "mark-outside")


def _texts(kept: Kept, y: float, plane: Plane) -> list[Text]:
    label, full = d.cut(kept.label, plane.left - 26)
    kind = "ink" if kept.finding == "as said" else "strong"
    return [
        Text(0, y + 0.35 * SIZE, label, "start", "strong", full),
        Text(plane.right + 26, y + 0.35 * SIZE, _at_right(kept), "start", kind),
    ]


def _at_right(kept: Kept) -> str:
    return f"{SHARE.words(kept.share)} of {kept.size:,}, {kept.finding}"


def _key(plane: Plane) -> tuple[list[Path], list[Mark], list[Text]]:
    y = plane.bottom + 18 + LINE + 8
    middle = y - 0.33 * SIZE
    words = [Text(14, y, "said", "start", "soft")]
    came = words[-1].box[2] + 24
    words.append(Text(came + 12, y, "came, as said", "start", "soft"))
    other = words[-1].box[2] + 24
    words.append(Text(other + 12, y, "came, not as said; the stroke is where the true share may lie", "start", "soft"))
    lines = [Path(d.down(5, middle - 8, middle + 8), "aim")]
    return lines, [Mark(came, middle, "circle", "mark-0"), Mark(other, middle, "diamond", "mark-outside")], words


def _came(kept: Kept, things: str) -> str:
    return f"{SHARE.words(kept.level)} said, {SHARE.words(kept.share)} of {kept.size:,} {things} came, {kept.finding}"


def _told(rows: Sequence[Kept], things: str) -> str:
    return " ".join(f"{each.label}: {_came(each, things)}." for each in rows) or f"No {things}."


def _row(kept: Kept) -> Row:
    low, high = map(SHARE.words, kept.doubt)
    came = SHARE.words(kept.share)
    return Row(
        (kept.label, SHARE.words(kept.level), came, f"{low} – {high}", f"{kept.size:,}", kept.finding), kept.href
    )
