"""What is looked at, and whose a flag is: shared by everything that gathers facts."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import ColumnElement, false
from sqlmodel import col

from app.bench.queries import lot_t, pair_t
from app.capture.tables import Arrival

AT_CLINIC = ("dispense", "wear_in")
OPEN = pair_t.c.stage.is_not(None)
Acts = dict[int, dict[str, list[tuple[datetime, int]]]]
"""When each act was done, with its visit, by pair and act."""


class Subject(NamedTuple):
    """Whose flag it is, for pages and rights. An arrival may come from no clinic that is known; a lot has none."""

    pair_id: int | None
    label: str
    clinic_id: int | None
    clinic: str


@dataclass(frozen=True, slots=True)
class Scope:
    """What is looked at: the whole lab, some clinics, one pair, one arrival, or one lot."""

    clinics: Collection[int] | None = None
    pair_id: int | None = None
    arrival_id: int | None = None
    lot_id: int | None = None

    def pairs(self) -> list[ColumnElement[bool]]:
        if self.arrival_id is not None or self.lot_id is not None:
            return [false()]
        if self.pair_id is not None:
            return [pair_t.c.id == self.pair_id]
        return [] if self.clinics is None else [pair_t.c.clinic_id.in_(list(self.clinics))]

    def arrivals(self) -> list[ColumnElement[bool]]:
        """Those from clinics that are not known are the lab's alone."""
        if self.arrival_id is not None:
            return [col(Arrival.id) == self.arrival_id]
        if self.pair_id is not None or self.lot_id is not None:
            return [false()]
        return [] if self.clinics is None else [col(Arrival.clinic_id).in_(list(self.clinics))]

    def lots(self) -> list[ColumnElement[bool]] | None:
        """They are the lab's alone; None where none is asked for."""
        if self.lot_id is not None:
            return [lot_t.c.id == self.lot_id]
        return [] if (self.clinics, self.pair_id, self.arrival_id) == (None, None, None) else None
