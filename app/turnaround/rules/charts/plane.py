"""The field that values are drawn in: from values to places, its grid, and the words along its edges."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeVar

from app.turnaround.rules.charts import drawing as d
from app.turnaround.rules.charts.drawing import LINE, ROW, SIZE, TOUCHED_ROW, WIDE, Link, Path, Text
from app.turnaround.rules.charts.ticks import Unit

T = TypeVar("T")
TOP, BOTTOM = 36.0, 286.0
HEIGHT = round(BOTTOM) + 3 * LINE + 13
"""Of a whole drawing: above the field one line of words, under it three."""


@dataclass(frozen=True, slots=True)
class Plane:
    """Edges in the drawing, and the values that lie at them; `low` and `high` are of the upright axis."""

    left: float
    right: float
    top: float = TOP
    bottom: float = BOTTOM
    first: float = 0
    last: float = 1
    low: float = 0
    high: float = 1

    def x(self, value: float) -> float:
        return self.left + (value - self.first) / ((self.last - self.first) or 1) * (self.right - self.left)

    def y(self, value: float) -> float:
        return self.bottom - (value - self.low) / ((self.high - self.low) or 1) * (self.bottom - self.top)

    def column(self, index: int, count: int) -> float:
        """The middle of one of `count` equal columns."""
        return self.left + (index + 0.5) * self.column_width(count)

    def column_width(self, count: int) -> float:
        return (self.right - self.left) / max(count, 1)


def upright(marks: Sequence[float], unit: Unit, *, right: float = 24) -> Plane:
    """A plane with room at the left for the words of its marks; `right` is the room that its other side needs."""
    left = max(d.reach(unit.mark(mark)) for mark in marks) + 10
    return Plane(left, WIDE - right, low=marks[0], high=marks[-1])


def up(plane: Plane, marks: Sequence[float], unit: Unit) -> tuple[list[Path], list[Text]]:
    """Lines across at the upright axis' marks, the lowest as the field's ground, and the words beside them."""
    lines = [Path(d.along(plane.left, plane.right, plane.y(mark)), "grid") for mark in marks[1:]]
    ground = Path(d.along(plane.left, plane.right, plane.bottom), "axis")
    words = [Text(plane.left - 7, plane.y(mark) + 0.35 * SIZE, unit.mark(mark), "end", "soft") for mark in marks]
    return [*lines, ground], words


def across(plane: Plane, marks: Sequence[tuple[float, str]]) -> tuple[list[Path], list[Text]]:
    """Short strokes at places of the lower edge, and their words as far as they have room."""
    strokes = [Path(d.down(x, plane.bottom, plane.bottom + 4), "axis") for x, _ in marks]
    return strokes, beneath(plane, marks)


def beneath(plane: Plane, marks: Sequence[tuple[float, str]], line: int = 0, kind: str = "soft") -> list[Text]:
    """Words under the field, in its first line or a later one: every one, every second and so on from the last on.

    The first gives way alone: it may be longer than the others, as it names the year.
    """
    baseline = plane.bottom + 19 + line * LINE
    words = [_within(x, baseline, words, kind) for x, words in marks]
    for step in range(1, len(marks)):
        shown = words[::-1][::step][::-1]
        near = [d.meet(one.box, other.box, 6) for one, other in pairwise(shown)]
        if not any(near[1:]):
            return shown[1:] if near[:1] == [True] else shown
    return words[-1:]


def captions(plane: Plane, above: str, below: str, after: float = 0) -> list[Text]:
    """What the axes count: over the upright one, and in the last line under the field, right of `after`."""
    over, whole_over = d.cut(above, plane.right)
    under, whole_under = d.cut(below, plane.right - after)
    return [
        Text(0, plane.top - 21, over, "start", "soft", whole_over),
        Text(plane.right, plane.bottom + 20 + 2 * LINE, under, "end", "soft", whole_under),
    ]


def at_right(plane: Plane, names: Sequence[tuple[float, str]]) -> tuple[list[Path], list[Text]]:
    """Names beside the field at the heights of what they name, pushed apart where they are near, each with its lead.

    The heights rise or fall as they like; a name longer than the room is cut.
    """
    order = sorted(range(len(names)), key=lambda index: names[index][0])
    heights = d.spread([names[index][0] for index in order], LINE, plane.top + 4, plane.bottom - 2)
    leads, words = [], []
    for index, height in zip(order, heights, strict=True):
        y, name = names[index]
        shown, full = d.cut(name, WIDE - plane.right - 20)
        leads.append(Path(d.straight([(plane.right + 2, y), (plane.right + 16, height)]), "lead"))
        words.append(Text(plane.right + 20, height + 0.35 * SIZE, shown, "start", "ink", full))
    return leads, words


def room_at_right(names: Sequence[str], most: float = 200) -> float:
    """What `at_right` needs beside the field."""
    return min(max(map(d.reach, names), default=0), most) + 20


def column_links(plane: Plane, each: Sequence[tuple[str, str]]) -> list[Link]:
    """Each column as high as the field, where it leads somewhere: its address and what is said of it."""
    wide = plane.column_width(len(each))
    return [
        Link(plane.left + index * wide, plane.top, wide, plane.bottom - plane.top, href, words)
        for index, (href, words) in enumerate(each)
        if href
    ]


def lanes(plane: Plane, each: Sequence[T]) -> list[tuple[T, float]]:
    """Things one under another in equal rows of the field, each with the middle of its row."""
    high = (plane.bottom - plane.top) / max(len(each), 1)
    return [(one, plane.top + (place + 0.5) * high) for place, one in enumerate(each)]


def row_height(addresses: Iterable[str]) -> int:
    """Of a chart of rows: where one of them leads somewhere, all are as high as a finger needs."""
    return TOUCHED_ROW if any(addresses) else ROW


def row_links(high: float, each: Iterable[tuple[float, str, str]]) -> list[Link]:
    """Each row over the whole width, where it leads somewhere: its middle, its address and what is said of it."""
    return [Link(0, y - high / 2, WIDE, high, href, words) for y, href, words in each if href]


def _within(x: float, y: float, words: str, kind: str) -> Text:
    """In the middle under its place, moved in where the drawing's edge would cut it."""
    shown, full = d.cut(words, WIDE / 2)
    half = d.reach(shown) / 2
    return Text(min(max(x, half), WIDE - half), y, shown, "middle", kind, full)
