"""Reading the order form: what was typed becomes an order, or every fault is named at its field.

What a form is answered while it is still being filled in is live.py.
"""

from collections.abc import Callable, Iterable, Mapping
from datetime import date
from typing import Any

from app.bench.rules.orders import Wanted
from app.bench.rules.stages import STAGES, WAYS
from app.capture.rules import KINDS
from app.errors import BadInput
from app.orders.rules import (
    FOOT,
    INSIDE_WIDTH,
    ITEMS,
    ULCER_ASKS,
    Body,
    Feet,
    read_body,
    read_shoe,
    read_wearer,
)
from app.orders.rules.checks import Answers
from app.trade import OutOfRange
from app.trade.units import length_typed, length_words, read_length, read_mass

REMAKE_STARTS = {
    "positive": "the positive, pressed again",
    "capture": "the capture, poured, carved or milled again",
    "new": "a new capture",
}
"""What the new pair is made from."""
ELSEWHERE = {"order": "POST /api/v1/orders", "amend": "POST /api/v1/pairs/{code}/prescription"}
"""Acts that have an address of their own, because more is sent with them."""
MARKS_START = ("start", "put_down")
"""Acts that a lab has only if it wants to: they say who worked when."""


def units_of(typed: Mapping[str, Any]) -> str:
    """In which units a form was shown and filled in."""
    return "imperial" if typed.get("units") == "imperial" else "metric"


def side_items(typed: Mapping[str, Any], side: str, wrong: dict[str, str]) -> dict[str, Any]:
    """One side's prescription; lengths as typed ("3.5", "3,5", "3/16 in") become tenths."""
    units = units_of(typed)
    items: dict[str, Any] = {}
    for item in ITEMS.values():
        raw = typed.get(f"{side}.{item.key}")
        if raw in (None, "", []):
            continue
        if item.kind == "length":
            raw = _tenths(str(raw), f"{side}.{item.key}", (item.label, item.low, item.high), units, wrong)
        items[item.key] = raw
    return {key: value for key, value in items.items() if value is not None}


def _tenths(raw: str, field: str, of: tuple[str, int, int], units: str, wrong: dict[str, str]) -> int | None:
    """A length of a form; `of` is what it is called and from where to where it may lie, in tenths."""
    label, low, high = of
    try:
        tenths = read_length(raw, units)
    except OutOfRange:
        tenths = -1
    if low <= tenths <= high:
        return tenths
    allowed = f"from {length_words(low, units)} to {length_words(high, units)}"
    wrong[field] = f"{label} is {allowed}; '{raw[:20]}' is not."
    return None


def read_day(raw: str, field: str, wrong: dict[str, str]) -> date | None:
    if not raw:
        return None
    try:
        return date.fromisoformat(raw)
    except ValueError:
        wrong[field] = f"A day reads like 2026-12-04; '{raw[:20]}' does not."
        return None


def read_number(raw: str, field: str, wrong: dict[str, str]) -> int:
    if raw.isdigit():
        return int(raw)
    wrong[field] = "Choose one."
    return 0


def whole(text: str) -> int:
    """A number of at most nine digits; 0, which nothing has, for anything else."""
    text = text.strip()
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else 0


def order_from_form(typed: Mapping[str, Any], typist: int, scans: Mapping[str, str] = {}) -> Wanted:
    """The order that was typed; `typist` prescribes unless the form names someone else.

    `scans` says of each side that came with a scan file what is wrong with it, or "". A second pair, whose form says
    whose captures are the `same`, brings none of its own.
    """
    wrong = {f"scan.{side}": fault for side, fault in scans.items() if fault}
    sides = str(typed.get("sides", ""))
    label = str(typed.get("label", "")).strip()
    if not label:
        wrong["label"] = "The chart label is missing: it is all the lab sees of the wearer."
    if sides not in ("L", "R", "LR"):
        wrong["sides"] = "Choose left, right or both."
        sides = "LR"
    if typed.get("way") not in WAYS:
        wrong["way"] = "Choose how the capture becomes a device."
    clinic_id = read_number(str(typed.get("clinic_id", "")), "clinic_id", wrong)
    prescription = {side: side_items(typed, side, wrong) for side in sides}
    captures = {} if typed.get("same") else {side: str(typed.get(f"capture.{side}", "")) for side in sides}
    for side, kind in captures.items():
        if kind not in KINDS:
            wrong[f"capture.{side}"] = "Choose how this foot reaches the lab."
    for side in scans:
        if captures.get(side) != "scan":
            wrong[f"scan.{side}"] = "Here is a scan file: choose scan as this foot's capture, or leave the file out."
    prescriber = str(typed.get("prescriber_id", ""))
    wanted = Wanted(
        clinic_id=clinic_id,
        label=label,
        way=str(typed.get("way", "")),
        sides=sides,
        prescription=prescription,
        captures=captures,
        prescriber_id=int(prescriber) if prescriber.isdigit() else typist,
        wearer=read_record(typed, wrong),
        stage_notes=stage_notes(typed),
        shoe=shoe_of(typed, wrong),
        feet=feet_of(typed, sides, wrong),
        captured_on=read_day(str(typed.get("captured_on", "")), "captured_on", wrong),
        wanted_on=read_day(str(typed.get("wanted_on", "")), "wanted_on", wrong),
        rush=str(typed.get("rush", "")).strip() or None,
        ulcer=str(typed.get("ulcer", "")).strip() or None,
        repeats=str(typed.get("repeats", "")),
    )
    _also(wrong, lambda: read_body(prescription, sides))
    if "active_ulcer" in wanted.wearer.get("risks", ()) and not wanted.ulcer:
        wrong["ulcer"] = ULCER_ASKS
    if wrong:
        raise BadInput("The order needs another look; nothing was lost.", wrong)
    return wanted


SEEN, SIGNED = "seen.", "signed."
"""How the form names a caution's tick and a stop's reason; the finding's key follows."""


def answers_from_form(typed: Mapping[str, Any]) -> Answers:
    signed = {name.removeprefix(SIGNED): str(words) for name, words in typed.items() if name.startswith(SIGNED)}
    seen = frozenset(name.removeprefix(SEEN) for name in typed if name.startswith(SEEN))
    return Answers(seen, signed, units=units_of(typed))


def faults_of(body: Body, sides: str) -> dict[str, str]:
    faults: dict[str, str] = {}
    _also(faults, lambda: read_body(body, sides))
    return faults


def prescription_from_form(typed: Mapping[str, Any], sides: str) -> Body:
    """The prescription alone, for a pair that is ordered already."""
    wrong: dict[str, str] = {}
    body = {side: side_items(typed, side, wrong) for side in sides}
    _also(wrong, lambda: read_body(body, sides))
    if wrong:
        raise BadInput("The prescription needs another look; nothing was lost.", wrong)
    return body


def _also(wrong: dict[str, str], check: Callable[[], Any]) -> Any:
    """Takes over a lower room's faults, so that everything wrong with a form is named at once."""
    try:
        return check()
    except BadInput as refusal:
        wrong.update({field: words for field, words in refusal.fields.items() if field not in wrong})
        return {}


def read_record(typed: Mapping[str, Any], wrong: dict[str, str]) -> dict[str, Any]:
    raw: dict[str, Any] = {key: typed.get(key) for key in ("name", "born_on", "born_year", "mass_kg")}
    raw |= {"posture_left": typed.get("posture_left"), "posture_right": typed.get("posture_right")}
    raw["risks"] = typed.get("risks", [])
    if raw["mass_kg"]:
        raw["mass_kg"] = _kilograms(str(raw["mass_kg"]), units_of(typed), wrong)
    found: dict[str, Any] = _also(wrong, lambda: read_wearer(raw))
    return found


def _kilograms(text: str, units: str, wrong: dict[str, str]) -> float | None:
    try:
        return read_mass(text, units)
    except OutOfRange as fault:
        wrong["mass_kg"] = f"Body mass: {fault}"
        return None


def stage_notes(typed: Mapping[str, Any]) -> dict[str, str]:
    """By stage; what is to change from an earlier pair is read where the order comes in."""
    notes = {stage: words for stage in STAGES if (words := str(typed.get(f"note.{stage}", "")).strip()[:2000])}
    if change := str(typed.get("change", "")).strip()[:2000]:
        notes["check_in"] = f"To change from {typed.get('repeats', '')}: {change}"
    return notes


def shoe_of(typed: Mapping[str, Any], wrong: dict[str, str]) -> dict[str, Any]:
    raw = {key: typed.get(f"shoe.{key}") for key in ("kind", "size", "system", "liner", "inside_width")}
    if not raw["size"]:
        raw["system"] = None
    if raw["inside_width"]:
        of = ("The shoe's inside width", *INSIDE_WIDTH)
        raw["inside_width"] = _tenths(str(raw["inside_width"]), "shoe.inside_width", of, units_of(typed), wrong)
    found: dict[str, Any] = _also(wrong, lambda: read_shoe(raw))
    return found


def feet_of(typed: Mapping[str, Any], sides: Iterable[str], wrong: dict[str, str]) -> Feet:
    """The measured feet of these sides."""
    feet: Feet = {}
    for side in sides:
        for name, (low, high) in FOOT.items():
            field = f"foot.{side}.{name}"
            if raw := str(typed.get(field, "")).strip():
                of = (f"A foot's {name}", round(low * 10), round(high * 10))
                tenths = _tenths(raw, field, of, units_of(typed), wrong)
                feet.setdefault(side, {}).update({name: tenths} if tenths is not None else {})
    return feet


def copied(typed: Mapping[str, Any], source: str, target: str) -> dict[str, Any]:
    """The form with one side's prescription and capture written over the other's."""
    names = ["capture", *ITEMS]
    after = dict(typed)
    for name in names:
        here, there = _at(source, name), _at(target, name)
        if here in typed:
            after[there] = typed[here]
        else:
            after.pop(there, None)
    return after


def _at(side: str, name: str) -> str:
    return f"capture.{side}" if name == "capture" else f"{side}.{name}"


def as_typed(body: Body, order: Mapping[str, Any], units: str) -> dict[str, Any]:
    """An earlier prescription as the form would have it, so that a new one can start from it."""
    typed: dict[str, Any] = {"units": units} | dict(order)
    for side, items in body.items():
        for key, value in items.items():
            item = ITEMS[key]
            typed[f"{side}.{key}"] = length_typed(value, units) if item.kind == "length" else value
    return typed
