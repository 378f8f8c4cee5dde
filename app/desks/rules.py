"""Reading the order form: what was typed becomes an order, or every fault is named at its field."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from app.bench.rules.orders import Wanted
from app.bench.rules.stages import WAYS
from app.capture.rules import KINDS
from app.errors import BadInput
from app.orders.rules import ITEMS, Item, read_body


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


def order_from_form(typed: Mapping[str, Any], typist: int) -> Wanted:
    """The order that was typed; `typist` prescribes unless the form names someone else."""
    wrong: dict[str, str] = {}
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
    wanted_on = read_day(str(typed.get("wanted_on", "")), "wanted_on", wrong)
    captures = {side: str(typed.get(f"capture.{side}", "")) for side in sides}
    for side, kind in captures.items():
        if kind not in KINDS:
            wrong[f"capture.{side}"] = "Choose how this foot reaches the lab."
    try:
        read_body(prescription, sides)
    except BadInput as refusal:
        wrong |= {field: words for field, words in refusal.fields.items() if field not in wrong}
    if wrong:
        raise BadInput("The order needs another look; nothing was lost.", wrong)
    return Wanted(
        clinic_id=clinic_id,
        label=label,
        way=str(typed["way"]),
        sides=sides,
        prescription=prescription,
        captures=captures,
        prescriber_id=typist,
        wanted_on=wanted_on,
        rush=str(typed.get("rush", "")).strip() or None,
    )
