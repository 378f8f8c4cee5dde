"""What an order consists of when it reaches the bench, whoever typed or sent it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from app.orders.rules import Feet


@dataclass(frozen=True)
class Wanted:
    """An order as it was asked for."""

    clinic_id: int
    label: str
    way: str
    sides: str
    prescription: Mapping[str, Mapping[str, Any]]
    captures: Mapping[str, str]
    prescriber_id: int
    wearer: Mapping[str, Any] = field(default_factory=dict)
    stage_notes: Mapping[str, str] = field(default_factory=dict)
    shoe: Mapping[str, Any] = field(default_factory=dict)
    feet: Feet = field(default_factory=dict)
    captured_on: date | None = None
    """When the feet were cast or scanned; None says that it was about the day of the order."""
    wanted_on: date | None = None
    rush: str | None = None
    ulcer: str | None = None
    tray: int | None = None
    repeats: str = ""
    """The code of the wearer's earlier pair that the order began from."""
