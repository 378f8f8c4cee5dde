"""Shoe sizes as a guide, from the length of a foot and back. The units that people measure in are units.py.

Lengths are tenths of a millimetre as whole numbers wherever they are kept. Sizes are a guide: ISO/TS 19407 says itself
that no exact conversion between systems exists, and this claims no conformity with it. Whether a device fits the shoe
is found out by trimming it, never from a size.
"""

from collections.abc import Mapping
from contextlib import suppress
from fractions import Fraction
from math import ceil, floor, isfinite
from typing import Any, NamedTuple

from app.trade import OutOfRange
from app.trade.units import mm

ALLOWANCE = 150
"""By how much a last is longer than the foot: 15 mm is usual, 20 mm is also met. A lab may set another."""
SHORTEST_FOOT, LONGEST_FOOT = 600, 4_000
"""From memory: from a small infant's to the longest adult feet on record."""
MOST_ALLOWANCE = 400


class System(NamedTuple):
    """`per_tenth` sizes for each tenth of a millimetre, less `zero`; `step` is between two sizes that are made."""

    words: str
    per_tenth: Fraction
    zero: Fraction
    step: Fraction
    counts_the_last: bool = True


_THIRD_OF_AN_INCH = Fraction(3, 254)
_HALF = Fraction(1, 2)

# Paris point 2/3 cm and a third of an inch: ISO/TS 19407:2015, introduction; Mondopoint: ISO 9407. The zeros are read
# in an encyclopaedia article and a restatement of it; half sizes and Mondopoint by 5 mm are common practice.
SYSTEMS: dict[str, System] = {
    "eu": System("EU", Fraction(3, 200), Fraction(0), _HALF),
    "uk": System("UK", _THIRD_OF_AN_INCH, Fraction(25), _HALF),
    "us_men": System("US men", _THIRD_OF_AN_INCH, Fraction(24), _HALF),
    "us_women": System("US women", _THIRD_OF_AN_INCH, Fraction(45, 2), _HALF),
    "mondopoint": System("Mondopoint", Fraction(1, 10), Fraction(0), Fraction(5), counts_the_last=False),
}


def size(foot_tenths: int, system: str, allowance_tenths: int = ALLOWANCE) -> float:
    """The size for a foot of this length, unrounded; `nearest` says which one is made.

    UK and US sizes are the adults' scales: a foot too short for them is OutOfRange, as is one outside 60 to 400 mm.
    """
    scale = _system(system)
    _check_lengths(foot_tenths, allowance_tenths)
    found = _counted(scale, foot_tenths, allowance_tenths)
    if found < 0:
        longer = f"longer for an adult's {scale.words} size; a child's is told in EU or Mondopoint"
        raise OutOfRange("foot length", f"{mm(foot_tenths):g} mm", longer)
    return float(found)


def sizes(foot_tenths: int, allowance_tenths: int = ALLOWANCE) -> dict[str, float]:
    """Every system's size for this foot, unrounded; without those whose adults' scale begins above it."""
    _check_lengths(foot_tenths, allowance_tenths)
    counted = {key: _counted(scale, foot_tenths, allowance_tenths) for key, scale in SYSTEMS.items()}
    return {key: float(found) for key, found in counted.items() if found >= 0}


def foot_length(shoe_size: float, system: str, allowance_tenths: int = ALLOWANCE) -> int:
    """The length of foot, in tenths of a millimetre, that this size is made for: `size` the other way round."""
    scale = _system(system)
    least = 0 if scale.zero else floor(_counted(scale, SHORTEST_FOOT, 0))
    most = ceil(_counted(scale, LONGEST_FOOT, MOST_ALLOWANCE))
    # Written so that what is no number fails the comparison, too.
    if not least <= shoe_size <= most:
        raise OutOfRange(f"{scale.words} size", f"{shoe_size:g}", f"a number from {least} to {most}")
    length = (Fraction(shoe_size) + scale.zero) / scale.per_tenth
    foot = round(length) - allowance_tenths * scale.counts_the_last
    _check_lengths(foot, allowance_tenths)
    return foot


def made_for(shoe: Mapping[str, Any], allowance_tenths: int = ALLOWANCE) -> int | None:
    """The foot that a shoe's `size` and `system` are for; None where the size is not known or beyond any foot."""
    if "size" not in shoe:
        return None
    with suppress(OutOfRange):
        return foot_length(shoe["size"], shoe["system"], allowance_tenths)
    return None


def nearest(shoe_size: float, system: str) -> float:
    """The size next to this one that shoes are made in: halves, and 5 mm in Mondopoint; half way goes up."""
    scale = _system(system)
    step = scale.step
    if not isfinite(shoe_size):
        raise OutOfRange(f"{scale.words} size", f"{shoe_size:g}", "a number")
    return float((Fraction(shoe_size) + step / 2) // step * step)


def _system(key: str) -> System:
    if key not in SYSTEMS:
        raise OutOfRange("size system", key, f"one of {', '.join(SYSTEMS)}")
    return SYSTEMS[key]


def _counted(scale: System, foot_tenths: int, allowance_tenths: int) -> Fraction:
    length = foot_tenths + allowance_tenths * scale.counts_the_last
    return length * scale.per_tenth - scale.zero


def _check_lengths(foot_tenths: int, allowance_tenths: int) -> None:
    # The allowance first: a wrong one makes a wrong length, and would be told as the wearer's.
    if not 0 <= allowance_tenths <= MOST_ALLOWANCE:
        raise OutOfRange("allowance", f"{mm(allowance_tenths):g} mm", f"from 0 to {mm(MOST_ALLOWANCE):g} mm")
    if not SHORTEST_FOOT <= foot_tenths <= LONGEST_FOOT:
        shown = f"from {mm(SHORTEST_FOOT):g} to {mm(LONGEST_FOOT):g} mm"
        raise OutOfRange("foot length", f"{mm(foot_tenths):g} mm", shown)
