"""What a wearer signs for at dispensing: which devices, which sides, which day; no amounts and no diagnosis."""

from datetime import date
from typing import NamedTuple

from sqlmodel import Session

from app.bench.queries import Loaded
from app.orders import queries as orders
from app.orders.rules import ITEMS, value_words
from app.people import queries as people
from app.people.queries import ClinicRow

NAMED = ("shell", "cover")
"""What a device is called by on a receipt."""


class Receipt(NamedTuple):
    code: str
    label: str
    sides: str
    devices: list[tuple[str, str]]
    """Left or right, and what it is."""
    clinic: ClinicRow
    lab: str
    day: date


def receipt(db: Session, loaded: Loaded, today: date) -> Receipt:
    row, body = loaded.row, orders.holding(db, loaded.row["order_id"]).body
    names = {"L": "Left", "R": "Right"}
    devices = [(names[side], _device(body.get(side, {}))) for side in row["all_sides"]]
    clinic, lab = people.clinic(db, row["clinic_id"]), people.lab(db).name
    return Receipt(row["code"], row["label"], row["all_sides"], devices, clinic, lab, today)


def _device(items: dict[str, object]) -> str:
    parts = [value_words(ITEMS[key], items[key]) for key in NAMED if items.get(key) not in (None, "none")]
    return "custom foot orthosis" + (f", {' with a cover of '.join(parts)}" if parts else "")
