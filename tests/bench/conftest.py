"""A lab with an order or two, and acts as short as a sentence."""

from typing import Any

import pytest

from app.bench import actions as bench
from app.bench import queries
from app.bench.actions import Moved
from app.bench.rules.machine import Asked, State
from app.bench.rules.orders import Wanted
from app.database import Database
from app.desks import actions
from app.people.tables import Lab as LabSettings
from tests.house import FITS, House, open_lab

SIDE = {"shell": "polypropylene", "shell_thickness": 40, "cover": "eva", "cover_thickness": 30, "cover_length": "toes"}


class Lab:
    """The lab of a story: `order`, `act`, and where a pair is now."""

    def __init__(self, database: Database, house: House) -> None:
        self.database = database
        self.house = house

    def order(self, by: str = "clinician", clinic: str = "house", sides: str = "LR", **more: Any) -> str:
        """Orders a pair and returns its code."""
        wanted: dict[str, Any] = {
            "clinic_id": self.house.clinics[clinic],
            "label": "MR 2210",
            "way": "cast",
            "sides": sides,
            "prescription": {side: dict(SIDE) for side in sides},
            "captures": dict.fromkeys(sides, "slipper_plaster"),
            "prescriber_id": self.house.people[by],
        } | more
        with self.database.writing() as db:
            return bench.place(db, by=self.house.viewer(by), wanted=Wanted(**wanted)).code

    def act(self, code: str, act: str, by: str = "technician", **more: Any) -> Moved:
        """Does `act` where the pair stands now, as someone does who looks at it."""
        more.setdefault("from_stage", self.at(code).stage)
        if act == "dispense":
            more.setdefault("facts", FITS[self.at(code).all_sides])
        done_at = more.pop("done_at", None)
        with self.database.writing() as db:
            asked = Asked(act, **more)
            return actions.do(db, code=code, asked=asked, by=self.house.viewer(by), done_at=done_at)

    def record_starts(self) -> None:
        """The lab wants it recorded who begins work."""
        with self.database.writing() as db:
            db.get_one(LabSettings, 1).marks_start = True

    def at(self, code: str) -> State:
        with self.database.reading() as db:
            return queries.find(db, code, self.house.viewer("manager")).state

    def row(self, code: str) -> Any:
        with self.database.reading() as db:
            return queries.find(db, code, self.house.viewer("manager")).row

    def walk(self, code: str, until: str, clinician: str = "clinician") -> State:
        """Walks the real way, each step by whom it belongs to, until the pair stands at `until`."""
        while (state := self.at(code)).stage != until:
            who = "technician" if state.place == "lab" else clinician
            if state.stage == "check_in":
                who = "technician"
            self.act(code, "dispense" if state.stage == "dispense" else "advance", by=who)
        return state


@pytest.fixture
def lab(database: Database) -> Lab:
    return Lab(database, open_lab(database))


@pytest.fixture
def full_lab(database: Database) -> Lab:
    """A lab with every optional stage switched on."""
    return Lab(database, open_lab(database, ("prepare", "correct", "grind", "inspect")))
