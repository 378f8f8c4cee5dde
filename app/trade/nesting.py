"""Blanks on sheets: which rectangles are cut from which sheet, and how much of it is used.

The placing is rectpack's: guillotine, best area fit. Every cut goes from edge to edge of what is left, as a saw or
shears cut, and it uses no more sheets than the freer ways (tried on 30 loads of 24 blanks, and four quarters fill their
sheet, which the fit by the short side misses). This says it in millimetres and says what was left over. A blank may be
turned: the sheets of the trade have no grain that matters to a shell (common practice, no source).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from app.trade import OutOfRange

SMALLEST_MM, LARGEST_MM = 10, 3_000
MOST_BLANKS = 500


@dataclass(frozen=True, slots=True)
class Blank:
    """What is to be cut; `name` comes back with its place."""

    name: str
    width_mm: int
    length_mm: int


@dataclass(frozen=True, slots=True)
class Placed:
    """A blank on its sheet: its lower left corner and its size as it lies there."""

    name: str
    x_mm: int
    y_mm: int
    width_mm: int
    length_mm: int


@dataclass(frozen=True, slots=True)
class Cut:
    """One sheet and what is cut from it."""

    sheet: str
    width_mm: int
    length_mm: int
    blanks: tuple[Placed, ...]

    @property
    def used(self) -> float:
        """The share of the sheet that becomes blanks."""
        area = sum(each.width_mm * each.length_mm for each in self.blanks)
        return area / (self.width_mm * self.length_mm)


@dataclass(frozen=True, slots=True)
class Sheet:
    name: str
    width_mm: int
    length_mm: int
    count: int
    """How many are in stock."""


def nest(blanks: Sequence[Blank], sheets: Sequence[Sheet], kerf_mm: int = 0) -> tuple[list[Cut], list[Blank]]:
    """The sheets that are cut, and the blanks that none of them holds.

    Each blank is given `kerf_mm` on two sides, for the saw. OutOfRange for a size that no sheet of plastic has.
    """
    from rectpack import GuillotineBafSas, PackingMode, newPacker

    if len(blanks) > MOST_BLANKS:
        raise OutOfRange("number of blanks", len(blanks), f"at most {MOST_BLANKS} at once")
    sized: list[Blank | Sheet] = [*blanks, *sheets]
    for each in sized:
        for field, value in (("width", each.width_mm), ("length", each.length_mm)):
            if not SMALLEST_MM <= value <= LARGEST_MM:
                raise OutOfRange(f"{field} of {each.name}", f"{value} mm", f"from {SMALLEST_MM} to {LARGEST_MM} mm")
    # Without joining what is left on both sides of a cut, as it does by itself: no saw cuts across an earlier cut.
    packer = newPacker(mode=PackingMode.Offline, pack_algo=partial(GuillotineBafSas, merge=False), rotation=True)
    for index, blank in enumerate(blanks):
        packer.add_rect(blank.width_mm + kerf_mm, blank.length_mm + kerf_mm, index)
    for number, sheet in enumerate(sheets):
        packer.add_bin(sheet.width_mm + kerf_mm, sheet.length_mm + kerf_mm, count=sheet.count, bid=number)
    packer.pack()
    cuts, placed = [], set()
    for used in packer:
        sheet = sheets[used.bid]
        here = []
        for rect in used:
            placed.add(rect.rid)
            width, length = rect.width - kerf_mm, rect.height - kerf_mm
            here.append(Placed(blanks[rect.rid].name, rect.x, rect.y, width, length))
        if here:
            cuts.append(Cut(sheet.name, sheet.width_mm, sheet.length_mm, tuple(here)))
    return cuts, [blank for index, blank in enumerate(blanks) if index not in placed]
