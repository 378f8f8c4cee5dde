"""How a wearer stands: what is measured of each foot, how it is typed or marked, and what is said of it.

The arithmetic is app/trade/stance.py; here are the forms' fields, the figures' words and when it is measured.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from app.bench.rules.machine import SIDE_WORDS
from app.bench.rules.stages import STAGES
from app.errors import BadInput, Unready
from app.trade import OutOfRange, stance
from app.trade.stance import CLOSEST_PX, Line, Stance
from app.trade.units import length_typed, length_words, mm, read_length

MEASURED_AT = ("dispense", "wear_in")
CAUTIONS = (
    "A figure of stance advises. What a foot is, what a device does and what is prescribed is judged by looking at "
    "the wearer, too.",
    "Let the wearer stand relaxed, feet at their own angle, weight on both; the camera at the height of the heels, "
    "square behind them.",
)
"""Common practice, no source."""
_PLACE = re.compile(r"(\d{1,5}(?:\.\d{1,3})?),(\d{1,5}(?:\.\d{1,3})?)")
_POINTS = ("leg", "heel")


@dataclass(frozen=True, slots=True)
class Kind:
    """What is measured in one go. `fields` are typed for each side; `figures` is what comes of them, in order."""

    label: str
    fields: Mapping[str, str]
    figures: Mapping[str, str]
    read: Callable[[str, str], Any]
    """A field from its text and the units it is typed in; ValueError with a sentence's end."""
    typed: Callable[[Any, str], str]
    repeats: str
    """How well it repeats, or how far that is known."""


def _degrees(text: str, _units: str) -> float:
    try:
        value = float(text.replace(",", ".").replace("−", "-").removesuffix("°"))
    except ValueError:
        value = float("nan")
    if not abs(value) <= stance.STEEPEST:
        raise ValueError(f"is from -{stance.STEEPEST:g} to {stance.STEEPEST:g} degrees, valgus positive")
    return round(value, 1)


def _score(text: str, _units: str) -> int:
    if text not in map(str, range(stance.LEAST_ITEM, stance.MOST_ITEM + 1)):
        raise ValueError(f"is a whole number from {stance.LEAST_ITEM} to {stance.MOST_ITEM}")
    return int(text)


def _length(text: str, units: str) -> int:
    try:
        return read_length(text, units)
    except OutOfRange as fault:
        raise ValueError(f"is {fault.allowed}") from None


def _agreement(kind: str, of: str) -> str:
    return (
        f"Measured twice, {of} agree with a weighted kappa of {stance.KAPPA[kind]:.2f}, 1 being full agreement "
        "(Langley, Cramp & Morrison 2016, n = 30)."
    )


KINDS: Mapping[str, Kind] = {
    "angles": Kind(
        "Leg and heel",
        {"leg_deg": "Lower leg to the vertical", "heel_deg": "Heel to the vertical"},
        {
            "leg_deg": "Lower leg to the vertical",
            "heel_deg": "Heel to the vertical",
            "heel_to_leg_deg": "Heel to the lower leg",
        },
        _degrees,
        lambda value, _units: f"{value:g}",
        f"{_agreement('angles', 'single rearfoot angles')} It never decides alone.",
    ),
    "posture": Kind(
        "Foot Posture Index (FPI-6)",
        stance.ITEMS,
        {"total": "Foot Posture Index"},
        _score,
        lambda value, _units: str(value),
        _agreement("posture", "totals of the index"),
    ),
    "arch": Kind(
        "Arch height index",
        {"dorsum": "Height of the dorsum at half the foot's length", "truncated": "Heel to first metatarsal head"},
        {"index": "Arch height index"},
        _length,
        length_typed,
        "How well it repeats was not found in a source that was read.",
    ),
    "navicular": Kind(
        "Navicular drop",
        {"unloaded": "Height of the navicular, unloaded", "loaded": "Height of the navicular, standing relaxed"},
        {"drop_mm": "Navicular drop"},
        _length,
        length_typed,
        f"{_agreement('navicular', 'navicular drops')} It never decides alone.",
    ),
}
SCORES = [(str(n), f"{n:+d}" if n else "0") for n in range(stance.LEAST_ITEM, stance.MOST_ITEM + 1)]
WAYS = {"without": "Without devices", "with": "With devices"}
EITHER_WAY = ("angles",)
"""Kinds that are measured without and with devices; the others barefoot alone."""


@dataclass(frozen=True, slots=True)
class Frame:
    """The photo that points were marked in, by its size."""

    width_px: int
    height_px: int


def read(
    kind: str, side: str, said: Mapping[str, str], units: str, frame: Frame | None, wrong: dict[str, str]
) -> dict[str, Any] | None:
    """What was measured of this side, None where nothing was; faults by field (`L.heel_deg`).

    Points that were marked in a photo (`L.points`: leg's upper and lower, heel's upper and lower; `plumb`) go before
    angles that were typed.
    """
    if kind == "angles" and said.get(f"{side}.points", "").strip():
        return _read_points(side, said, frame, wrong)
    made, texts = KINDS[kind], {name: said.get(f"{side}.{name}", "").strip() for name in KINDS[kind].fields}
    if not any(texts.values()):
        return None
    found: dict[str, Any] = {}
    before = len(wrong)
    for name, text in texts.items():
        label = f"{made.fields[name]}, {SIDE_WORDS[side]},"
        try:
            found[name] = made.read(text, units) if text else _missing()
        except ValueError as fault:
            wrong[f"{side}.{name}"] = f"{label} {fault}; '{text[:20]}' is not." if text else f"{label} {fault}."
    if len(wrong) == before:
        _worked_out(kind, side, found, f"{side}.{next(iter(made.fields))}", wrong)
    return found


def posture_so_far(side: str, said: Mapping[str, str]) -> str:
    """What the items of a foot come to while its form is being filled in; "" where none is. The band wants them all."""
    found = [int(text) for key in stance.ITEMS if (text := said.get(f"{side}.{key}", "")) in dict(SCORES)]
    if len(found) == len(stance.ITEMS):
        return figure_words("total", stance.posture_index(found), "metric")
    left = len(stance.ITEMS) - len(found)
    return f"{sum(found):+d} so far, {left} {'item' if left == 1 else 'items'} to go" if found else ""


def _missing() -> Any:
    raise ValueError("is still to be said")


def _read_points(
    side: str, said: Mapping[str, str], frame: Frame | None, wrong: dict[str, str]
) -> dict[str, Any] | None:
    marked = _places(said[f"{side}.points"], 4, frame)
    hung = _places(said["plumb"], 2, frame) if said.get("plumb", "").strip() else []
    if frame is None or marked is None or hung is None:
        wrong[f"{side}.heel_deg"] = f"The points of the {SIDE_WORDS[side]} foot lie outside of a photo of this pair."
        return None
    found: dict[str, Any] = {"leg": marked[:2], "heel": marked[2:]} | ({"plumb": hung} if hung else {})
    _worked_out("angles", side, found, f"{side}.heel_deg", wrong)
    return found


def _places(text: str, count: int, frame: Frame | None) -> list[list[float]] | None:
    """Points written "x,y x,y ..." in pixels of the photo; None for anything else."""
    places = [_PLACE.fullmatch(each) for each in text.split()]
    if frame is None or len(places) != count or None in places:
        return None
    points = [[round(float(place[1]), 1), round(float(place[2]), 1)] for place in places if place]
    return points if all(x <= frame.width_px and y <= frame.height_px for x, y in points) else None


def _worked_out(kind: str, side: str, found: Mapping[str, Any], field: str, wrong: dict[str, str]) -> None:
    try:
        figures(kind, side, found)
    except OutOfRange as fault:
        wrong[field] = f"{SIDE_WORDS[side].capitalize()}: {fault}"


def stance_of(side: str, found: Mapping[str, Any]) -> Stance:
    if "leg_deg" in found:
        return Stance(found["leg_deg"], found["heel_deg"])
    return stance.from_points(side, line(found["leg"]), line(found["heel"]), _plumb(found))


def line(points: list[list[float]]) -> Line:
    (x, y), (x2, y2) = points
    return Line((x, y), (x2, y2))


def _plumb(found: Mapping[str, Any]) -> Line | None:
    return line(found["plumb"]) if "plumb" in found else None


def figures(kind: str, side: str, found: Mapping[str, Any]) -> dict[str, float]:
    """Every figure of a measure by its key in `Kind.figures`; OutOfRange for what no foot measures."""
    if kind == "angles":
        seen = stance_of(side, found)
        return {name: getattr(seen, name) for name in KINDS[kind].figures}
    if kind == "posture":
        return {"total": stance.posture_index([found[key] for key in stance.ITEMS])}
    if kind == "arch":
        return {"index": stance.arch_height_index(mm(found["dorsum"]), mm(found["truncated"]))}
    return {"drop_mm": stance.navicular_drop_mm(mm(found["unloaded"]), mm(found["loaded"]))}


def typed_values(kind: str, side: str, found: Mapping[str, Any], units: str) -> dict[str, str]:
    """What the form's fields of a side show of a measure: as it was typed, or what its points came to."""
    if "leg" in found:
        seen = stance_of(side, found)
        return {"leg_deg": f"{seen.leg_deg:.1f}", "heel_deg": f"{seen.heel_deg:.1f}"}
    return {name: KINDS[kind].typed(found[name], units) for name in KINDS[kind].fields}


def points_text(points: list[list[float]]) -> str:
    """As a form sends them back: "312,840.5 310,960"."""
    return " ".join(f"{x:g},{y:g}" for x, y in points)


def figure_words(name: str, value: float, units: str) -> str:
    """7.04 is "7.0° valgus"; a total has its band beside it."""
    if name.endswith("_deg"):
        shown = round(value, 1)
        return f"{abs(shown):.1f}°{' valgus' if shown > 0 else ' varus' if shown < 0 else ''}"
    if name == "total":
        return f"{value:+.0f}, {stance.band(int(value))}" if value else f"0, {stance.band(0)}"
    return f"{value:.3f}" if name == "index" else length_words(value * 10, units)


def difference_words(before: float, after: float) -> str:
    """What devices change of an angle: of what is shown, so that the reader's own subtraction agrees."""
    change = round(round(after, 1) - round(before, 1), 1)
    return f"{abs(change):.1f}°{' towards valgus' if change > 0 else ' towards varus' if change < 0 else ''}"


def slip_words(found: Mapping[str, Any]) -> str:
    """What a pixel is worth in this photo; empty for angles that were typed."""
    if "leg" not in found:
        return ""
    worst = max(stance.pixel_deg(line(found[name])) for name in _POINTS)
    return f"a point marked one pixel off turns its line by up to {worst:.1f}°"


def check_measured_now(code: str, stage: str | None, end: str | None) -> None:
    """At dispensing, while it is worn in, and at a later look at a settled wearer."""
    if stage in MEASURED_AT or end == "settled":
        return
    where = f"stands at {STAGES[stage].queue}" if stage else f"is {end}"
    raise Unready(f"Stance is measured when a pair is dispensed and at its reviews; {code} {where}.")


def check_kind(kind: str, with_devices: bool) -> None:
    if kind not in KINDS:
        raise BadInput(f"'{kind[:20]}' is not measured here; one of {', '.join(KINDS)} is.")
    if with_devices and kind not in EITHER_WAY:
        raise BadInput(f"{KINDS[kind].label} is taken barefoot, without devices.")


POINTS_HINT = f"Points of one line lie at least {CLOSEST_PX:g} pixels apart; the further apart, the surer the angle."
