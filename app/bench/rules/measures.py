"""How large is a foot and what is made for it? The measures that the figures of a pair and the sheets of a batch share.

A foot is known by its scan, else by the size of its shoe, else not at all. Nothing is rounded here but a piece to be
cut.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import ceil, floor
from typing import Any

from app.bench.rules.settings import BenchSettings, oven_row
from app.trade import blanks, plaster, posts, prescription
from app.trade.blanks import Foot, Size
from app.trade.footmesh import FootMesh
from app.trade.heat import Setting
from app.trade.sizes import foot_length

SHOE_ERROR = 20.0
"""Per cent for a volume that begins with the size of a shoe; from memory, no source."""


@dataclass(frozen=True, slots=True)
class Side:
    """What is known of one side. `how` says what the foot was measured on: scan, shoe or nothing."""

    items: Mapping[str, Any]
    foot: Foot | None = None
    how: str = ""
    filled_cm3: Mapping[str, float] = field(default_factory=dict)


Sides = Mapping[str, Side]


def sides_of(body: Mapping[str, Mapping[str, Any]], meshes: Mapping[str, FootMesh], shoe: Mapping[str, Any]) -> Sides:
    """Each side with its foot: from its scan, else from the length that the shoe's size is made for."""
    return {side: _side(items, meshes.get(side), shoe) for side, items in body.items()}


def _side(items: Mapping[str, Any], mesh: FootMesh | None, shoe: Mapping[str, Any]) -> Side:
    try:
        if mesh is not None:
            return Side(items, Foot(mesh.length_mm, mesh.width_mm), "scan", mesh.filled_cm3)
        if shoe.get("size"):
            return Side(items, blanks.foot_of_length(foot_length(shoe["size"], shoe["system"]) / 10), "shoe")
    except ValueError:  # a mesh that lies on another axis, a size beyond any foot
        pass
    return Side(items)


@dataclass(frozen=True, slots=True)
class Volume:
    cm3: float
    error_percent: float
    """None of it where the scan itself was filled."""


def volume(side: Side, settings: BenchSettings) -> Volume | None:
    """Of a positive filled up to the lab's height; None where nothing says how large the foot is."""
    if side.foot is None:
        return None
    measured = side.filled_cm3.get(str(settings.fill_height_mm))
    if measured:
        return Volume(measured, 0.0)
    guess = plaster.estimated_cm3(side.foot.length_mm, side.foot.breadth_mm, settings.fill_height_mm)
    return Volume(guess, SHOE_ERROR if side.how == "shoe" else plaster.FILL_ERROR)


def thickness_mm(side: Side) -> float | None:
    tenths = side.items.get("shell_thickness")
    return None if tenths is None else tenths / 10


def heated(side: Side, settings: BenchSettings) -> Setting | None:
    return oven_row(settings, side.items.get("shell"), thickness_mm(side))


def shell_blank(side: Side, settings: BenchSettings) -> Size | None:
    """The blank in whole millimetres, rounded up; None where the foot's size is not known."""
    if side.foot is None:
        return None
    row = heated(side, settings)
    return whole(
        blanks.shell_blank(
            side.foot,
            side.items.get("shell_length") or "metatarsals",
            side.items.get("shell_width") or "standard",
            (side.items.get("heel_cup") or 0) / 10,
            row.shrinkage_percent if row else 0.0,
            settings.shell_margin_mm,
        )
    )


def whole(size: Size) -> Size:
    """To be cut: whole millimetres, rounded up."""
    return Size(ceil(size.length_mm), ceil(size.width_mm))


def platform_mm(side: Side) -> float | None:
    """How high the positive's forefoot is set up for its post; None where there is none or no foot to measure."""
    width = post_width_mm(side, "forefoot_post")
    if not side.items.get("forefoot_post") or width is None:
        return None
    return posts.wedge_height_mm(width, posts.parse(str(side.items["forefoot_post"])).degrees)


def grams(mass: float) -> int:
    """Whole grams, half up."""
    return floor(mass + 0.5)


def post_width_mm(side: Side, key: str) -> float | None:
    """Over which width a post of this side is ground; None where that is not known."""
    breadth = side.foot.breadth_mm * 10 if side.foot else None
    return prescription.post_width_mm(key, side.items.get("shell_width"), breadth)
