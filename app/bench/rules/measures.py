"""How large is a foot and what is made for it? The measures that the figures of a pair and the sheets of a batch share.

A foot is known by its scan, else by what was measured on the wearer, else by the size of its shoe, else not at all.
Nothing is rounded here but a piece to be cut.
"""

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from math import ceil, floor
from typing import Any, NamedTuple

from app.bench.rules.settings import BenchSettings, oven_row
from app.orders.rules import Feet
from app.trade import blanks, plaster, posts, prescription
from app.trade.blanks import Foot, Size
from app.trade.footmesh import FootMesh
from app.trade.heat import Setting
from app.trade.sizes import ALLOWANCE, made_for

SHOE_ERROR = 20.0
"""Per cent for a volume that begins with the size of a shoe; from memory, no source."""


@dataclass(frozen=True, slots=True)
class Side:
    """What is known of one side. `how` says by what the foot is known: scan, wearer, shoe or nothing."""

    items: Mapping[str, Any]
    foot: Foot | None = None
    how: str = ""
    filled_cm3: Mapping[str, float] = field(default_factory=dict)


Sides = Mapping[str, Side]


class Worn(NamedTuple):
    """What an order says of feet and shoe; `allowance` is what the lab takes a last to be longer than the foot."""

    feet: Feet
    shoe: Mapping[str, Any]
    allowance: int = ALLOWANCE


def sides_of(body: Mapping[str, Mapping[str, Any]], meshes: Mapping[str, FootMesh], worn: Worn) -> Sides:
    """Each side with its foot: from its scan, its measures, else from the length that the shoe's size is made for."""
    return {side: _side(side, items, meshes.get(side), worn) for side, items in body.items()}


def _side(side: str, items: Mapping[str, Any], mesh: FootMesh | None, worn: Worn) -> Side:
    with suppress(ValueError):  # a mesh that lies on another axis
        if mesh is not None:
            return Side(items, Foot(mesh.length_mm, mesh.width_mm), "scan", mesh.filled_cm3)
    measured = worn.feet.get(side, {})
    if "length" in measured:
        return Side(items, _measured(measured), "wearer")
    length = made_for(worn.shoe, worn.allowance)
    return Side(items) if length is None else Side(items, blanks.foot_of_length(length / 10), "shoe")


def _measured(foot: Mapping[str, int]) -> Foot:
    usual = blanks.foot_of_length(foot["length"] / 10)
    return Foot(usual.length_mm, foot["breadth"] / 10) if "breadth" in foot else usual


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
