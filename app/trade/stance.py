"""How a foot stands: leg and heel against the vertical in a photo from behind, the Foot Posture Index, the arch.

A photo's points are (x, y) in its pixels, x to the right and y down. It is taken from behind, so the left foot stands
at the photo's left. Angles are in degrees, valgus positive: the lower end of the line lies further out, away from the
other foot, than its upper end. Every figure advises; none of them decides alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan2, degrees, hypot, isfinite

from app.trade import OutOfRange, within

Point = tuple[float, float]

STEEPEST = 30.0
"""Degrees. A bisection or plumb line further from upright than this was marked the wrong way."""
CLOSEST_PX = 10.0
"""Pixels. Of points nearer to each other a slip of one pixel alone is more than five degrees."""
OUTWARDS = {"L": -1.0, "R": 1.0}
"""Which way along x leads away from the other foot, as they stand from behind."""

USUAL_HEEL_DEG, USUAL_LEG_DEG = 7.0, -6.0
"""Means of healthy adults standing relaxed, n = 121: Astrom & Arvidson, JOSPT 1995;22(5):216-222."""
KAPPA = {"angles": 0.60, "posture": 0.92, "navicular": 0.40}
"""Weighted kappa of test and retest, n = 30, 1 being full agreement: Langley, Cramp & Morrison 2016. No value was found
for the arch height index; that of an arch angle is another measure's."""


@dataclass(frozen=True, slots=True)
class Line:
    """A bisection or a plumb line by two of its points, `upper` and `lower`."""

    upper: Point
    lower: Point

    @property
    def length_px(self) -> float:
        return hypot(self.lower[0] - self.upper[0], self.lower[1] - self.upper[1])


@dataclass(frozen=True, slots=True)
class Stance:
    """One foot as it stands, degrees, valgus positive."""

    leg_deg: float
    heel_deg: float

    def __post_init__(self) -> None:
        for field, value in (("leg", self.leg_deg), ("heel", self.heel_deg)):
            within(field, value, -STEEPEST, STEEPEST, "degrees")

    @property
    def heel_to_leg_deg(self) -> float:
        """How far the heel is turned out against the leg, whichever way the leg itself leans."""
        return self.heel_deg - self.leg_deg


def tilt_deg(line: Line, field: str = "line") -> float:
    """From the photo's own vertical, positive where the lower end lies to the right: atan2(dx, dy), trigonometry.

    As the relaxed calcaneal stance position is taken from two points of the heel's bisection (FAOJ 2019;12(1):4).
    OutOfRange for points that all but coincide, or a line that is not roughly upright with `upper` above `lower`.
    """
    if not all(map(isfinite, (*line.upper, *line.lower))):
        raise OutOfRange(field, "no place in the photo", "marked by two points")
    if line.length_px < CLOSEST_PX:
        raise OutOfRange(field, f"{line.length_px:.1f} px long", f"marked by points at least {CLOSEST_PX:g} px apart")
    tilt = degrees(atan2(line.lower[0] - line.upper[0], line.lower[1] - line.upper[1]))
    if abs(tilt) > STEEPEST:
        allowed = f"within {STEEPEST:g}° of it, the upper point above the lower"
        raise OutOfRange(field, f"{abs(tilt):.0f}° from upright", allowed)
    return tilt


def valgus_deg(side: str, line: Line, plumb: Line | None = None, field: str = "line") -> float:
    """The angle of a bisection to the vertical: to the photo's y axis, or to a plumb line that hangs in the photo."""
    level = tilt_deg(plumb, "plumb line") if plumb else 0.0
    return OUTWARDS[side] * (tilt_deg(line, field) - level)


def from_points(side: str, leg: Line, heel: Line, plumb: Line | None = None) -> Stance:
    return Stance(valgus_deg(side, leg, plumb, "leg"), valgus_deg(side, heel, plumb, "heel"))


def pixel_deg(line: Line) -> float:
    """By how much the line turns when one of its points is marked a pixel off, across the line."""
    return degrees(atan2(1.0, line.length_px))


ITEMS: dict[str, str] = {
    "talar_head": "Head of the talus, felt from both sides",
    "malleolar": "Curves above and below the outer ankle bone",
    "calcaneus": "Heel turned in or out",
    "bulge": "Bulge at the talonavicular joint",
    "arch": "Height and evenness of the inner arch",
    "forefoot": "Forefoot turned in or out on the rearfoot",
}
"""The six items of the Foot Posture Index: Redmond, Crane & Menz, J Foot Ankle Res 2008;1:6."""
LEAST_ITEM, MOST_ITEM = -2, 2
BANDS: tuple[tuple[int, str], ...] = (
    (-5, "highly supinated"),
    (-1, "supinated"),
    (5, "neutral"),
    (9, "pronated"),
    (12, "highly pronated"),
)
"""The highest total of each band: Justine et al., J Phys Ther Sci 2016;28:916-922; the outer two as reported there."""
USUAL_POSTURE = 4
"""Mean total of 619 people: a little pronation is usual (Redmond 2008)."""


def posture_index(items: Sequence[int]) -> int:
    """The total of a foot's six items, each from -2 to +2, pronation positive; in the order of `ITEMS`."""
    if len(items) != len(ITEMS):
        raise OutOfRange("posture", f"{len(items)} items", f"all {len(ITEMS)} items")
    for key, value in zip(ITEMS, items, strict=True):
        if value not in range(LEAST_ITEM, MOST_ITEM + 1):
            raise OutOfRange(key, value, f"a whole number from {LEAST_ITEM} to +{MOST_ITEM}")
    return sum(items)


def band(total: int) -> str:
    """What a total of the Foot Posture Index is called."""
    within("total", total, -12, 12, "points")
    return next(words for most, words in BANDS if total <= most)


LOWEST_MM, HIGHEST_MM = 20.0, 120.0
"""Of the dorsum; from memory, a small child's foot to a very high arch."""
SHORTEST_MM, LONGEST_MM = 60.0, 260.0
"""From the heel to the first metatarsal head; from memory, a small child's to the longest adult's."""
LEAST_NAVICULAR_MM, MOST_NAVICULAR_MM = 5.0, 90.0
"""From memory, as wide as a slip of the pen leaves room for."""


def arch_height_index(dorsum_height_mm: float, truncated_length_mm: float) -> float:
    """Height of the dorsum at half the foot's length, divided by the length from heel to first metatarsal head.

    Williams & McClay, Phys Ther 2000;80:864.
    """
    within("dorsum height", dorsum_height_mm, LOWEST_MM, HIGHEST_MM, "mm")
    within("truncated length", truncated_length_mm, SHORTEST_MM, LONGEST_MM, "mm")
    return dorsum_height_mm / truncated_length_mm


def navicular_drop_mm(unloaded_height_mm: float, loaded_height_mm: float) -> float:
    """By how much the navicular sinks: its height over the floor unloaded, less its height standing relaxed."""
    for field, height in (("unloaded height", unloaded_height_mm), ("standing height", loaded_height_mm)):
        within(field, height, LEAST_NAVICULAR_MM, MOST_NAVICULAR_MM, "mm")
    return unloaded_height_mm - loaded_height_mm
