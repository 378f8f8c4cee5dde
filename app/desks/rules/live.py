"""What an order's form is answered while it is being filled in: what the checks find so far, and sizes as a guide."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from types import SimpleNamespace
from typing import Any

from app.desks.rules import answers_from_form, faults_of, feet_of, read_day, read_record, shoe_of, side_items, units_of
from app.orders.rules import SIDE_NAMES
from app.orders.rules.checks import Asked, findings
from app.trade.prescription import Finding
from app.trade.sizes import SYSTEMS, made_for, nearest, sizes
from app.trade.units import length_words


def findings_so_far(typed: Mapping[str, Any], today: date, allowance: int) -> list[Finding]:
    """What the checks find in a form that is still being filled in; what can't be read yet raises nothing."""
    unread: dict[str, str] = {}
    sides = [side for side in "LR" if side in str(typed.get("sides", "LR"))]
    body = {side: side_items(typed, side, unread) for side in sides}
    for side, items in body.items():
        faults = faults_of({side: items}, side)
        body[side] = {key: value for key, value in items.items() if f"{side}.{key}" not in faults}
    wearer = dict.fromkeys(("born_on", "born_year", "mass_kg", "posture_left", "posture_right"))
    record = SimpleNamespace(**(wearer | {"risks": []} | read_record(typed, unread)))
    ulcer = bool(str(typed.get("ulcer", "")).strip())
    asked = Asked(body, shoe_of(typed, unread), feet_of(typed, sides, unread), ulcer, today, allowance)
    day = read_day(str(typed.get("captured_on", "")), "captured_on", unread)
    answers = replace(answers_from_form(typed), captured_on=dict.fromkeys(sides, day) if day else {})
    return findings(asked, record, answers)


def size_guide(typed: Mapping[str, Any], allowance: int) -> list[tuple[str, str]]:
    """What the lengths and the shoe's size of a form come to in the other's terms: what, and how much of it."""
    unread: dict[str, str] = {}
    rows = [
        (
            f"{SIDE_NAMES[side]} foot, {length_words(foot['length'], units_of(typed))}",
            sizes_words(foot["length"], allowance),
        )
        for side, foot in feet_of(typed, "LR", unread).items()
        if "length" in foot
    ]
    shoe = shoe_of(typed, unread)
    if length := made_for(shoe, allowance):
        words = f"made for a foot of about {length_words(length, units_of(typed))}"
        rows.append((f"Shoe, {shoe['size']:g} {SYSTEMS[shoe['system']].words}", words))
    return rows


def sizes_words(foot_tenths: int, allowance: int) -> str:
    """ "EU 39.5 · UK 6.5 …": the sizes that are made, nearest to this foot."""
    found = sizes(foot_tenths, allowance)
    return " · ".join(f"{SYSTEMS[system].words} {nearest(size, system):g}" for system, size in found.items())
