"""Reading the order form: what was typed becomes an order, or every fault is named at its field."""

from collections.abc import Callable, Mapping
from datetime import date
from types import SimpleNamespace
from typing import Any

from app.bench.rules.orders import Wanted
from app.bench.rules.stages import STAGES, WAYS
from app.capture.rules import KINDS
from app.errors import BadInput
from app.orders.rules import ITEMS, ULCER_ASKS, Body, Item, read_body, read_shoe, read_wearer
from app.orders.rules.checks import Answers, findings
from app.trade.prescription import Finding
from app.trade.sizes import kg_from_pounds

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


def side_items(typed: Mapping[str, Any], side: str, wrong: dict[str, str]) -> dict[str, Any]:
    """One side's prescription; millimetres as typed ("3.5", "3,5") become tenths."""
    items: dict[str, Any] = {}
    for item in ITEMS.values():
        raw = typed.get(f"{side}.{item.key}")
        if raw in (None, "", []):
            continue
        items[item.key] = _tenths(item, str(raw), f"{side}.{item.key}", wrong) if item.kind == "length" else raw
    return {key: value for key, value in items.items() if value is not None}


def _tenths(item: Item, raw: str, field: str, wrong: dict[str, str]) -> int | None:
    try:
        return round(float(raw.replace(",", ".")) * 10)
    except (ValueError, OverflowError):
        allowed = f"a number of millimetres, from {item.low / 10:g} to {item.high / 10:g}"
        wrong[field] = f"{item.label} is {allowed}; '{raw[:20]}' is not."
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

    `scans` says of each side that came with a scan file what is wrong with it, or "".
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
    captures = {side: str(typed.get(f"capture.{side}", "")) for side in sides}
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
        wearer=_wearer(typed, wrong),
        stage_notes=stage_notes(typed),
        shoe=_shoe(typed, wrong),
        wanted_on=read_day(str(typed.get("wanted_on", "")), "wanted_on", wrong),
        rush=str(typed.get("rush", "")).strip() or None,
        ulcer=str(typed.get("ulcer", "")).strip() or None,
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
    return Answers(frozenset(name.removeprefix(SEEN) for name in typed if name.startswith(SEEN)), signed)


def findings_so_far(typed: Mapping[str, Any], today: date) -> list[Finding]:
    """What the checks find in a form that is still being filled in; what can't be read yet raises nothing."""
    unread: dict[str, str] = {}
    sides = [side for side in "LR" if side in str(typed.get("sides", "LR"))]
    body = {side: side_items(typed, side, unread) for side in sides}
    for side, items in body.items():
        faults = _faults_of({side: items}, side)
        body[side] = {key: value for key, value in items.items() if f"{side}.{key}" not in faults}
    wearer = dict.fromkeys(("born_on", "born_year", "mass_kg", "posture_left", "posture_right"))
    record = SimpleNamespace(**(wearer | {"risks": []} | _wearer(typed, unread)))
    ulcer = bool(str(typed.get("ulcer", "")).strip())
    return findings(body, record, _shoe(typed, unread), today, answers_from_form(typed), ulcer)


def _faults_of(body: Body, sides: str) -> dict[str, str]:
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


def _wearer(typed: Mapping[str, Any], wrong: dict[str, str]) -> dict[str, Any]:
    raw: dict[str, Any] = {key: typed.get(key) for key in ("name", "born_on", "born_year", "mass_kg")}
    raw |= {"posture_left": typed.get("posture_left"), "posture_right": typed.get("posture_right")}
    raw["risks"] = typed.get("risks", [])
    if raw["mass_kg"] and typed.get("mass_unit") == "lb":
        raw["mass_kg"] = _pounds(str(raw["mass_kg"]), wrong)
    found: dict[str, Any] = _also(wrong, lambda: read_wearer(raw))
    return found


def _pounds(text: str, wrong: dict[str, str]) -> float | None:
    try:
        return round(kg_from_pounds(float(text.replace(",", "."))), 1)
    except ValueError:
        wrong["mass_kg"] = f"A body mass is a number of pounds; '{text[:20]}' is not."
        return None


def stage_notes(typed: Mapping[str, Any]) -> dict[str, str]:
    return {stage: words for stage in STAGES if (words := str(typed.get(f"note.{stage}", "")).strip()[:2000])}


def _shoe(typed: Mapping[str, Any], wrong: dict[str, str]) -> dict[str, Any]:
    raw = {key: typed.get(f"shoe.{key}") for key in ("kind", "size", "system", "liner", "inside_width")}
    if not raw["size"]:
        raw["system"] = None
    if width := str(raw["inside_width"] or "").replace(",", "."):
        try:
            raw["inside_width"] = round(float(width) * 10)
        except (ValueError, OverflowError):
            wrong["shoe.inside_width"] = f"An inside width is a number of millimetres; '{width[:20]}' is not."
            raw["inside_width"] = None
    found: dict[str, Any] = _also(wrong, lambda: read_shoe(raw))
    return found


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


def as_typed(body: Body, order: Mapping[str, Any]) -> dict[str, Any]:
    """An earlier prescription as the form would have it, so that a new one can start from it."""
    typed: dict[str, Any] = dict(order)
    for side, items in body.items():
        for key, value in items.items():
            item = ITEMS[key]
            typed[f"{side}.{key}"] = f"{value / 10:g}" if item.kind == "length" else value
    return typed
