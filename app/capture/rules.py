"""Which kinds of capture there are, what becomes of one, the condition list of check-in, and what a scan tells."""

from calendar import monthrange
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict
from datetime import date
from typing import Any

from app.trade import OutOfRange
from app.trade.blanks import Foot
from app.trade.footmesh import FootMesh
from app.trade.units import length_words

KINDS = {
    "slipper_plaster": "slipper cast, plaster",
    "slipper_fibreglass": "slipper cast, fibreglass",
    "foam": "foam impression",
    "scan": "scan (mesh file)",
}
STATES = {
    "expected": "expected",
    "arrived": "arrived",
    "accepted": "accepted",
    "refused": "refused",
    "used_up": "used up",
    "void": "void",
}
POSITIVE_STATES = {"intact": "intact", "broken": "broken", "thrown_away": "thrown away"}
KEPT_MONTHS = 6
"""How long a positive stands on its shelf; common practice, no source: each lab changes it."""
CONDITIONS = {
    "whole": "whole, no cracks or soft spots",
    "side_marked": "marked with its side",
    "label_matches": "label matches the order",
    "heel_clear": "heel and arch are clearly shaped",
    "neutral": "forefoot and rearfoot look as ordered",
    "cleaned": "cleaned",
}
"""What is looked at when a capture is accepted; the answers are kept with it."""

MOST_DIFFERENT_MM = 15.0
"""Of the lengths of one wearer's feet; common practice, no source. Grown feet rarely differ by half as much."""
LEAST_SLENDER, MOST_SLENDER = 1.8, 3.5
"""Length over width of a foot seen from above; from memory about 2.3 to 2.9, with room on both sides."""


def why_no_scan(kind: str, state: str, has_file: bool) -> str | None:
    """Why a scan file can't be added to a capture as it stands; None when it can."""
    if kind != "scan":
        return f"This side is worked from a {KINDS[kind]}, so it takes no scan file."
    if state in ("expected", "arrived") or (state == "accepted" and not has_file):
        return None
    if state == "accepted":
        return "The scan of this side is checked in; ask for a recapture to work from another."
    return f"This capture is {STATES[state]} and takes no scan file."


def kept_measures(mesh: FootMesh) -> dict[str, Any]:
    """As they are stored: rounded to a tenth, further than any scanner measures."""
    kept = {name: round(value, 1) if isinstance(value, float) else value for name, value in asdict(mesh).items()}
    return kept | {"filled_cm3": {height: round(volume, 1) for height, volume in mesh.filled_cm3.items()}}


def feet(scans: Mapping[str, FootMesh]) -> dict[str, dict[str, int]]:
    """How large the feet are by their scans, in tenths; a mesh that lies along another axis measures none."""
    found = {}
    for side, mesh in scans.items():
        with suppress(OutOfRange):
            foot = Foot(mesh.length_mm, mesh.width_mm)
            found[side] = {"length": round(foot.length_mm * 10), "breadth": round(foot.breadth_mm * 10)}
    return found


def measure_rows(scans: Mapping[str, FootMesh], units: str) -> list[tuple[str, str | None, str | None]]:
    """What is shown of a pair's scans: name, left, right; None for a side without a file."""
    words = {side: _measure_words(mesh, side, units) for side, mesh in scans.items()}
    named = next(iter(words.values()), {})
    return [(name, words.get("L", {}).get(name), words.get("R", {}).get(name)) for name in named]


def _measure_words(mesh: FootMesh, side: str, units: str) -> dict[str, str]:
    turn = mesh.toe_out_deg(side)
    lies = "along another axis" if turn is None else f"{abs(turn):.1f}° {'out' if turn > 0 else 'in'}"
    return {
        "Length": length_words(mesh.length_mm * 10, units),
        "Width": length_words(mesh.width_mm * 10, units),
        "Toes turned": lies,
        "Height": length_words(mesh.height_mm * 10, units),
        "Volume": "not closed, so none" if mesh.volume_cm3 is None else f"{mesh.volume_cm3:.0f}\u00a0cm³",
        "Surface": "watertight" if mesh.watertight else "not watertight",
        "Triangles": f"{mesh.triangles:,}",
    }


def scan_cautions(scans: Mapping[str, FootMesh], units: str) -> list[str]:
    """What the measures of a pair's scans, by side, should make someone look at twice."""
    said = []
    if len(scans) == 2:
        left, right = scans["L"].length_mm, scans["R"].length_mm
        if abs(left - right) > MOST_DIFFERENT_MM:
            said.append(
                f"Left is {length_words(left * 10, units)} long and right {length_words(right * 10, units)}, more than "
                f"{length_words(MOST_DIFFERENT_MM * 10, units)} apart: are both of this wearer, and is each on its own "
                "side?"
            )
    for side, words in (("L", "left"), ("R", "right")):
        mesh = scans.get(side)
        if mesh and not LEAST_SLENDER <= mesh.length_mm / mesh.width_mm <= MOST_SLENDER:
            said.append(
                f"From above the {words} scan is {length_words(mesh.length_mm * 10, units)} by "
                f"{length_words(mesh.width_mm * 10, units)}, which is not the shape of a foot: its up may not be the "
                "file's z axis, and then no figure here holds."
            )
    return said


def months_on(day: date, months: int) -> date:
    """The same day so many months later, or the last of a shorter month."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))
