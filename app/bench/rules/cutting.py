"""Which sheets in stock are blanks cut from, and how are the sheets kept with what is printed?

Which lots may be cut is read in app/bench/queries/sheets.py; how blanks lie on a sheet is app/trade/nesting.py.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from app.errors import BadInput
from app.trade import OutOfRange
from app.trade.nesting import Blank, Cut, Sheet, nest


@dataclass(frozen=True, slots=True)
class StockSheet:
    """The whole sheets of one lot. `lot` is its number, empty on what was printed before sheets were lots."""

    material: str
    thickness_mm: float
    width_mm: int
    length_mm: int
    count: int
    lot: str = ""

    @property
    def of(self) -> tuple[str, float]:
        return self.material, self.thickness_mm

    @property
    def words(self) -> str:
        """ "lot A 100, 1000 × 500 mm"."""
        return (f"lot {self.lot}, " if self.lot else "") + f"{self.length_mm} × {self.width_mm}\u00a0mm"


def stock_again(kept: Sequence[Mapping[str, Any]] | None, settings: Mapping[str, Any]) -> list[StockSheet]:
    """The sheets that a printed sheet was laid out on; the oldest ones keep them in their `settings`."""
    return [StockSheet(**row) for row in (settings.get("sheets", ()) if kept is None else kept)]


def laid_out(blanks: Sequence[Blank], stock: Sequence[StockSheet], kerf_mm: int) -> tuple[list[Cut], list[str]]:
    """Sheets are begun in the order of `stock`. The second are the names of the blanks that none of them holds."""
    sheets = [Sheet(each.words, each.length_mm, each.width_mm, each.count) for each in stock if each.count]
    try:
        cuts, left = nest(blanks, sheets, kerf_mm)
    except OutOfRange as fault:
        raise BadInput(str(fault)) from None
    return cuts, [blank.name for blank in left]
