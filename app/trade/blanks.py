"""Blanks: how large a piece of shell or cover is cut for a foot, before it is pressed or glued and trimmed to the shoe.

Millimetres. Where a foot was not measured its breadth comes from its length; what the shoe lets in is found out by
trimming. How much a sheet shrinks as it cools is heat.py.
"""

from dataclasses import dataclass
from typing import NamedTuple

from app.trade import OutOfRange, within
from app.trade.heat import blank_mm
from app.trade.prescription import DEVICE_PART
from app.trade.sizes import LONGEST_FOOT, SHORTEST_FOOT

TO_METATARSALS = 0.7392
"""Of the foot's length from the heel to the first metatarsal's head: see `LENGTH_SOURCE`."""
LENGTH_PART = {"metatarsals": TO_METATARSALS, "sulcus": 0.83, "full": 1.0, "toes": 1.0}
LENGTH_SOURCE = (
    "To the metatarsals .7392 of the foot's length: mean of 1,986 women in a public anthropometric survey, SD .0134. "
    "To the sulcus .83: from memory, no source."
)
TOE_ROOM_MM = 10.0
"""Beyond the longest toe, standing; a cover to the toes is cut so long and trimmed to the shoe's own insole (liner)."""
TOE_ROOM_SOURCE = "A foot-care text: 10 mm beyond the longest toe."
BREADTH_PART = 0.376
"""Breadth over length: the means of women (92.7 / 246.3) and men (101.9 / 271.2) in the army survey of 2012."""
LEAST_LENGTH_MM, MOST_LENGTH_MM = SHORTEST_FOOT / 10, LONGEST_FOOT / 10
LEAST_BREADTH_MM, MOST_BREADTH_MM = 20.0, 200.0
"""From memory: what can be a foot at all."""
BREADTH_SOURCE = "Breadth .376 of the length: means of women and men in a public anthropometric survey, 2012."


class Size(NamedTuple):
    length_mm: float
    width_mm: float


@dataclass(frozen=True, slots=True)
class Foot:
    """As far as it is known: of a scan's narrowest box, as it was measured, or of what its shoe is made for."""

    length_mm: float
    breadth_mm: float

    def __post_init__(self) -> None:
        within("foot length", self.length_mm, LEAST_LENGTH_MM, MOST_LENGTH_MM, "mm")
        within("breadth", self.breadth_mm, LEAST_BREADTH_MM, MOST_BREADTH_MM, "mm")


def foot_of_length(length_mm: float) -> Foot:
    """A foot of which the length alone is known."""
    return Foot(length_mm, length_mm * BREADTH_PART)


def shell_blank(
    foot: Foot, length: str, width: str, heel_cup_mm: float, shrinkage_percent: float, margin_mm: float
) -> Size:
    """The piece of sheet that is drawn over a positive.

    As long as the shell and once up the heel cup behind it, as wide as the shell and up the cup on both sides, all of
    it enlarged by what shrinks and with the margin at each edge. The cup's share is common practice, no source.
    """
    part = _part(LENGTH_PART, "shell length", length)
    device = foot.breadth_mm * _part(DEVICE_PART, "shell width", width)
    return Size(
        blank_mm(foot.length_mm * part + heel_cup_mm, shrinkage_percent, margin_mm),
        blank_mm(device + 2 * heel_cup_mm, shrinkage_percent, margin_mm),
    )


def cover_length_mm(foot: Foot, length: str) -> float:
    """How long a cover is cut from the heel's end: to the metatarsals, the sulcus, or past the toes."""
    return foot.length_mm * _part(LENGTH_PART, "cover length", length) + (TOE_ROOM_MM if length == "toes" else 0)


def cover_blank(foot: Foot, length: str, margin_mm: float) -> Size:
    """The cover as it is glued on, before it is trimmed: nothing shrinks, the margin stands at each edge."""
    return Size(blank_mm(cover_length_mm(foot, length), 0, margin_mm), blank_mm(foot.breadth_mm, 0, margin_mm))


def _part(parts: dict[str, float], field: str, key: str) -> float:
    if key not in parts:
        raise OutOfRange(field, key, f"one of {', '.join(parts)}")
    return parts[key]
