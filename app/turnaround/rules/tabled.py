"""A table of figures as one plain value, from which page, paper and spreadsheet are drawn alike.

A cell is a number, a day or words, and the column's kind says what the number means; how it is written is the
matter of who draws it: in words here, as a number with its unit in the head in app/exchange/spreadsheets.py.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Literal, NamedTuple

from app.trade.worktime import words as time_words

Kind = Literal["text", "code", "count", "share", "number", "day", "month", "working", "clock"]
"""share: 0 to 1. working, clock: minutes, of the lab's working day or of 24 hours. number: as it is, with its unit."""
Cell = str | int | float | date | None
NONE = "—"
FEW = "too few to say"
NBSP = "\u00a0"
CLOCK_DAY = 24 * 60


class Column(NamedTuple):
    head: str
    kind: Kind = "count"
    unit: str = ""
    """Behind a number, such as %."""


class Row(NamedTuple):
    """A cell a column; where a column counts, words may say why there is no figure. `href` leads to what is behind."""

    cells: tuple[Cell, ...]
    href: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    title: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    definition: str
    """What is counted, and how."""
    count: str
    """Of how many all of it is: "1,520 pairs dispensed"."""
    source: str
    """Where the figures come from, and what may be missing from them."""
    day_minutes: int = field(default=CLOCK_DAY)
    """Of the lab's working day, for working time."""

    def words(self, row: Row) -> list[str]:
        """A row's cells as they are read on a page."""
        return [self._said(cell, column) for cell, column in zip(row.cells, self.columns, strict=True)]

    def _said(self, cell: Cell, column: Column) -> str:
        if cell is None:
            return NONE
        if isinstance(cell, str):
            return cell
        if isinstance(cell, date):
            return ("" if column.kind == "month" else f"{cell.day}{NBSP}") + f"{cell:%b}{NBSP}{cell.year}"
        if column.kind in ("working", "clock"):
            return time_words(round(cell), self.day_minutes if column.kind == "working" else CLOCK_DAY)
        if column.kind == "share":
            return percent(cell)
        plain = f"{cell:,}" if isinstance(cell, int) else f"{cell:,.1f}".removesuffix(".0")
        return f"{plain}{NBSP}{column.unit}" if column.unit else plain


def percent(share: float) -> str:
    """No more digits than a lab's figures can bear: one decimal below ten and next to all. What is not none or not all
    never reads like it."""
    if 0 < share < 0.0005:
        return f"<{NBSP}0.1{NBSP}%"
    if 0.9995 <= share < 1:
        return f">{NBSP}99.9{NBSP}%"
    fine = 0 < share < 0.0995 or 0.99 < share < 1
    shown = f"{100 * share:.1f}" if fine else f"{100 * share:.0f}"
    return f"{shown.removesuffix('.0')}{NBSP}%"


def count_words(count: int, things: Sequence[str]) -> str:
    """Of one and of many: count_words(2, ("pair", "pairs")) is "2 pairs"."""
    return f"{count:,}{NBSP}{things[0] if count == 1 else things[1]}"
