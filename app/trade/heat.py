"""Heat: what an oven is set to, how warm the sheet is to be when it leaves it, and the blank it is cut from.

Oven and sheet are two temperatures: the air is hotter than the plastic ever gets. Celsius, minutes, millimetres; vacuum
in inches of mercury, as the gauges read. A sheet's own data come before anything that stands here.
"""

from dataclasses import dataclass
from math import isfinite
from typing import Literal

from app.trade import OutOfRange, within

Trust = Literal["published", "computed", "common practice", "from memory", "lab's own"]
PSI_TO_INHG = 2.03602
"""Inches of mercury at 0 °C for one pound per square inch (from memory; NIST gives the same five digits)."""
LEAST_VACUUM_INHG = 20.0
VACUUM_SOURCE = "A university course text on drape forming: about 20 inHg is enough for polypropylene and polyethylene."
HOTTEST_C = 300.0
THINNEST_MM, THICKEST_MM = 1.0, 20.0
MOST_SHRINKAGE = 10.0
"""Per cent; beyond it a slip of the keyboard is likelier than a plastic. From memory."""


@dataclass(frozen=True, slots=True)
class Setting:
    """How one material of one range of thickness is heated. None where nothing was found: the lab fills it in."""

    material: str
    from_mm: float
    to_mm: float
    oven_c: float | None
    sheet_low_c: float | None
    sheet_high_c: float | None
    minutes_low: float | None
    minutes_high: float | None
    vacuum_inhg: float | None
    shrinkage_percent: float
    source: str
    trust: Trust


DEFAULTS: tuple[Setting, ...] = (
    Setting(
        "copolymer", 4.5, 5.0, 199, 152, 166, None, None, 24.4, 2.5,
        "Foster, J Prosthet Orthot 2004;16(2):46-48, for 4.8 mm: vacuum 12 psi, opaque again after 3.5 minutes; the "
        "shrinkage is polypropylene's, from sheet-trade notes.",
        "published",
    ),
    Setting(
        "polypropylene", 3.0, 5.0, 180, 150, 180, 20, 25, LEAST_VACUUM_INHG, 2.5,
        "Sheet temperature and shrinkage of 2 to 3 % from sheet-trade notes; oven and time from memory of a guideline "
        "for manufacturing, 2006.",
        "from memory",
    ),
    Setting(
        "acrylic", 2.0, 5.0, None, 143, 160, None, None, None, 0.0,
        "Sheet temperature from sheet-trade notes.", "published",
    ),
    Setting(
        "hdpe", 2.0, 6.0, None, 138, 138, None, None, LEAST_VACUUM_INHG, 2.5,
        "Sheet temperature of about 138 °C from sheet-trade notes; the shrinkage is polypropylene's.", "published",
    ),
    Setting(
        "eva", 1.0, 20.0, 120, None, None, 3, 5, None, 0.0,
        "From memory of a guideline for manufacturing, 2006.", "from memory",
    ),
)  # fmt: skip
"""Where a lab starts; each row is edited to what its oven and sheets need."""


def setting(rows: tuple[Setting, ...], material: str, thickness_mm: float) -> Setting | None:
    """The row for this sheet, the narrowest range first; None if the lab has none for it."""
    within("thickness", thickness_mm, THINNEST_MM, THICKEST_MM, "mm")
    fitting = [row for row in rows if row.material == material and row.from_mm <= thickness_mm <= row.to_mm]
    return min(fitting, key=lambda row: row.to_mm - row.from_mm, default=None)


def blank_mm(finished_mm: float, shrinkage_percent: float, margin_mm: float = 0.0) -> float:
    """The length to cut so that it still covers `finished_mm` when it has cooled: L / (1 - s), and the margin twice."""
    if not (isfinite(finished_mm) and finished_mm > 0):
        raise OutOfRange("length", f"{finished_mm:g} mm", "above 0 mm")
    within("shrinkage", shrinkage_percent, 0.0, MOST_SHRINKAGE, "%")
    within("margin", margin_mm, 0.0, 100.0, "mm")
    return (finished_mm + 2 * margin_mm) / (1 - shrinkage_percent / 100)


def inhg_from_psi(psi: float) -> float:
    within("vacuum", psi, 0.0, 15.0, "psi")
    return psi * PSI_TO_INHG


def enough_vacuum(vacuum_inhg: float) -> bool:
    """Whether it draws a sheet of polypropylene or polyethylene down; see `VACUUM_SOURCE`."""
    within("vacuum", vacuum_inhg, 0.0, 30.0, "inHg")
    return vacuum_inhg >= LEAST_VACUUM_INHG
