"""Plaster: how much powder and water fill a cast, and when what was poured can be stripped.

Consistency is the trade's: parts of water for 100 parts of plaster by mass. Masses are grams, volumes cubic
centimetres, lengths millimetres. How a plaster behaves is told by its own sheet; these are the figures to start from.
"""

from dataclasses import dataclass

from app.trade import OutOfRange, within

HYDRATION = 100 * 1.5 * 18.015 / 145.15
"""Grams of water that 100 g of hemihydrate take up as it sets (chemistry: one and a half molecules a unit)."""
MOST_CONSISTENCY = 150.0
"""From memory: beyond it the slurry separates before it sets."""
POWDER_DENSITY = 2.76
"""Grams in a cubic centimetre of hemihydrate; from memory."""
USUAL_CONSISTENCY = 60.0
USUAL_WASTE = 5.0
"""Per cent that stays in the bowl; common practice, no source."""
MOST_WASTE = 50.0
MOST_CM3 = 20_000.0

FOOT_FILL = {30: 0.528, 40: 0.514, 50: 0.486, 60: 0.456, 70: 0.426, 80: 0.398, 90: 0.373, 100: 0.352}
"""By fill height in millimetres: volume of two model feet (data of the project's demo, CC0) up to it, as a part of
length x breadth x height; each value is the mean of the two."""
FILL_ERROR = 15.0
"""Per cent by which a foot of another build may differ from the model's; from memory, no source."""


@dataclass(frozen=True, slots=True)
class Mix:
    plaster_g: float
    water_g: float
    volume_cm3: float
    """Of the slurry, the waste in it."""


@dataclass(frozen=True, slots=True)
class PlasterClass:
    """Minutes from adding the powder, at 50 parts of water."""

    key: str
    words: str
    initial_set_min: float
    final_set_min: float


_THREE = "Darmawan, Willy and Budiman, J Dent Res Dent Clin Dent Prospects 2020;14(3):167-170, one of three plasters"
SETTING_SOURCE = f"{_THREE}; at another consistency it takes another time."
CLASSES: dict[str, PlasterClass] = {
    each.key: each
    for each in (
        PlasterClass("fast", "fast setting", 10.4, 16.0),
        PlasterClass("medium", "medium setting", 16.2, 24.3),
        PlasterClass("slow", "slow setting", 24.5, 33.4),
    )
}


def mix(volume_cm3: float, consistency: float = USUAL_CONSISTENCY, waste_percent: float = 0.0) -> Mix:
    """Powder and water whose slurry fills `volume_cm3`, with so much more for what is lost.

    Slurry = powder / 2.76 + water: the powder's own volume and the water's. The mass of the set positive is larger by
    the water it keeps; a curve of set mass must not be read as powder, it gives about a fifth too much.
    """
    within("volume", volume_cm3, 0.0, MOST_CM3, "cm³", above=True)
    _check_consistency(consistency)
    within("waste", waste_percent, 0.0, MOST_WASTE, "%")
    wanted = volume_cm3 * (1 + waste_percent / 100)
    plaster = wanted / (1 / POWDER_DENSITY + consistency / 100)
    return Mix(plaster, plaster * consistency / 100, wanted)


def slurry_cm3(plaster_g: float, water_g: float) -> float:
    """The volume that this much powder and water fill before setting."""
    within("plaster", plaster_g, 0.0, 1e6, "g")
    within("water", water_g, 0.0, 1e6, "g")
    return plaster_g / POWDER_DENSITY + water_g


def estimated_cm3(foot_length_mm: float, breadth_mm: float, fill_height_mm: float) -> float:
    """A positive's volume where there is no scan, `FILL_ERROR` per cent either way.

    Length x breadth x height x the part of that box which a model foot fills up to the height.
    """
    within("foot length", foot_length_mm, 60.0, 400.0, "mm")
    within("breadth", breadth_mm, 20.0, 200.0, "mm")
    return foot_length_mm * breadth_mm * fill_height_mm * _filled(fill_height_mm) / 1000


def _filled(height: float) -> float:
    heights = list(FOOT_FILL)
    within("fill height", height, heights[0], heights[-1], "mm")
    low = max(each for each in heights if each <= height)
    high = min(each for each in heights if each >= height)
    share = (height - low) / (high - low) if high > low else 0.0
    return FOOT_FILL[low] + share * (FOOT_FILL[high] - FOOT_FILL[low])


def strip_after_min(plaster_class: str) -> float:
    """Minutes after mixing at which the plaster of this class has set to the end; not before may it be stripped."""
    if plaster_class not in CLASSES:
        raise OutOfRange("plaster class", plaster_class, f"one of {', '.join(CLASSES)}")
    return CLASSES[plaster_class].final_set_min


def _check_consistency(consistency: float) -> None:
    if not HYDRATION <= consistency <= MOST_CONSISTENCY:
        allowed = f"from {HYDRATION:.2f}, below which the plaster lacks the water it sets with, to {MOST_CONSISTENCY:g}"
        raise OutOfRange("consistency", f"{consistency:g} parts of water", allowed)
