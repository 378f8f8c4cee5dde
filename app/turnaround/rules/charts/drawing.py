"""What a chart is made of: shapes and words at their places, in the drawing's own units, y downwards.

A unit is about a pixel where the page is 820 pixels wide. How a `look` is inked is the template's matter.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple
from unicodedata import normalize
from zlib import crc32

WIDE = 760
SIZE = 13
"""Of all words. A line of them takes 17."""
LINE = 17
ROW, TOUCHED_ROW = 30, 46
"""Height of a row in a chart of rows; where it leads somewhere, a finger has to meet it."""
_LETTERS = {
    0.35: "'.,:;`|ijl·!’ \u00a0()[]",
    0.49: 'frtI-/\\1°{}_"*',
    0.57: "cszvyxaek7JL?–",
    0.68: "bdpqhnuogFTES234568909+=<>P$£€^~ZB«»¤",
    0.79: "ACDGHKNOQRUVXYw#@&…",
    0.98: "MWm%—½¼¾",
}
"""Widths, in sizes, of the letters of our font (Atkinson Hyperlegible Next), rounded up from its bold face."""
_WIDTH = {letter: width for width, letters in _LETTERS.items() for letter in letters}

Box = tuple[float, float, float, float]


class Text(NamedTuple):
    """Words in one line; (x, y) is where the line they stand on starts, has its middle or ends."""

    x: float
    y: float
    words: str
    anchor: str = "start"
    kind: str = "ink"
    """ink, soft, or strong"""
    full: str = ""
    """The whole words, where they had to be cut."""

    @property
    def box(self) -> Box:
        """Left, top, right, bottom; never smaller than what is drawn."""
        wide = reach(self.words)
        left = self.x - {"start": 0.0, "middle": wide / 2, "end": wide}[self.anchor]
        return left, self.y - 0.8 * SIZE, left + wide, self.y + 0.25 * SIZE


class Path(NamedTuple):
    d: str
    look: str


class Bar(NamedTuple):
    x: float
    y: float
    width: float
    height: float
    look: str


class Mark(NamedTuple):
    x: float
    y: float
    shape: str
    """circle, square, diamond or triangle"""
    look: str


class Link(NamedTuple):
    """A place of the drawing that leads to the pairs behind it."""

    x: float
    y: float
    width: float
    height: float
    href: str
    words: str


class Row(NamedTuple):
    """A row of the table beside; its first cell may lead somewhere."""

    cells: tuple[str, ...]
    href: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """Drawn in this order: areas, grid, bars, lines, marks, texts; links lie over all of it."""

    title: str
    alt: str
    """The finding in words, with its count."""
    width: int = WIDE
    height: int
    areas: tuple[Path, ...] = ()
    grid: tuple[Path, ...] = ()
    bars: tuple[Bar, ...] = ()
    lines: tuple[Path, ...] = ()
    marks: tuple[Mark, ...] = ()
    texts: tuple[Text, ...] = ()
    links: tuple[Link, ...] = ()
    heads: tuple[str, ...]
    rows: tuple[Row, ...]

    @property
    def key(self) -> str:
        """Tells this drawing's patterns from those of others on the page; the same drawing has the same."""
        return f"{crc32(f'{self.title} {self.alt}'.encode()):08x}"


@lru_cache(maxsize=4096)
def reach(words: str) -> float:
    """How wide a line of words may become at most."""
    return SIZE * sum(_letter(letter) for letter in words)


def cut(words: str, room: float) -> tuple[str, str]:
    """The words as far as they fit in `room`, and the whole of them if that is less."""
    if reach(words) <= room + 0.01:
        return words, ""
    kept = len(words)
    while kept and reach(words[:kept].rstrip() + "…") > room:
        kept -= 1
    return words[:kept].rstrip() + "…", words


def spread(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Places in the order of `wanted`, which rises: as near to it as `gap` between two allows, from `low` to `high`.

    Where the room is too small for all, they run past `high`; whoever draws them makes room first.
    """
    places: list[float] = []
    for want in wanted:
        places.append(max(want, low, places[-1] + gap if places else low))
    limit = max(high, low + gap * (len(places) - 1))
    for index in reversed(range(len(places))):
        places[index] = min(places[index], limit)
        limit = places[index] - gap
    return places


def meet(one: Box, other: Box, gap: float = 0) -> bool:
    """Whether two boxes overlap, or come nearer than `gap`."""
    return one[0] < other[2] + gap and other[0] < one[2] + gap and one[1] < other[3] + gap and other[1] < one[3] + gap


def straight(points: Iterable[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)


def runs(places: Sequence[float], heights: Sequence[float | None]) -> list[list[tuple[float, float]]]:
    """Points that follow one another, apart where there is none: no line is drawn over what is not known."""
    apart: list[list[tuple[float, float]]] = [[]]
    for x, y in zip(places, heights, strict=True):
        if y is None:
            apart.append([])
        else:
            apart[-1].append((x, y))
    return [run for run in apart if run]


def along(x1: float, x2: float, y: float) -> str:
    return f"M{x1:.1f} {y:.1f}H{x2:.1f}"


def down(x: float, y1: float, y2: float) -> str:
    return f"M{x:.1f} {y1:.1f}V{y2:.1f}"


def _letter(letter: str) -> float:
    """An accented letter is hardly wider than its plain one; one that is not listed is taken for a whole square."""
    known = _WIDTH.get(letter)
    return _WIDTH.get(normalize("NFD", letter)[0], 1.05) + 0.03 if known is None else known
