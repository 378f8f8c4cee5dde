"""A small lab with three clinics and its people, and how tests sign in as them: what every story starts from."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import Session

from app import clock
from app.database import Database
from app.people import queries
from app.people.rules import Role, Viewer, hash_of, new_token
from app.people.tables import ApiToken, Calendar, Clinic, Lab, SignedIn, Staff, StaffClinic

ZONE = "Europe/Lisbon"
PEOPLE: dict[str, tuple[str, str]] = {
    "technician": ("technician", ""),
    "second technician": ("technician", ""),
    "clinician": ("clinician", "house"),
    "parcel clinician": ("clinician", "trims"),
    "quay clinician": ("clinician", "quay"),
    "manager": ("manager", ""),
    "practitioner": ("technician clinician manager", "house trims quay"),
}
"""Who works here: roles, and the clinics they belong to."""

_FITS: dict[str, Any] = {"arch": "full", "cover": "ok"} | dict.fromkeys(
    ("neutral", "upright", "seated", "heel_down", "not_tight", "toe_room", "liner_out"), True
)
FITS: dict[str, dict[str, Any]] = {
    sides: {"confirmed": sides, "fit": {"read_back": True} | {side: dict(_FITS) for side in sides}}
    for sides in ("L", "R", "LR")
}
"""The facts of a dispensing at which everything fits, by the sides that the pair has."""


@dataclass
class House:
    """Ids of what was made: clinics by key (house, trims, quay), people by what they are called here."""

    zone: str = ZONE
    clinics: dict[str, int] = field(default_factory=dict)
    people: dict[str, int] = field(default_factory=dict)

    def viewer(self, who: str) -> Viewer:
        roles, clinics = PEOPLE[who]
        own = frozenset(self.clinics[key] for key in clinics.split())
        return Viewer(self.people[who], who.capitalize(), frozenset(Role(r) for r in roles.split()), own, self.zone)


def open_lab(database: Database, stages_on: tuple[str, ...] = ()) -> House:
    """A lab open Monday to Friday, 8 to 17; one clinic in the house, two by parcel, one of which trims itself."""
    house = House()
    with database.writing() as db:
        week: list[list[list[str]]] = [[["08:00", "17:00"]] if day < 5 else [] for day in range(7)]
        calendar = Calendar(hours=week, zone=ZONE, made_at=clock.now())
        db.add(calendar)
        db.flush()
        db.add(Lab(name="Saltmarsh Bay Lab", zone=ZONE, stages_on=list(stages_on), calendar_id=calendar.id))
        for key, name, by_parcel, trims in (
            ("house", "Harbour Steps", False, False),
            ("trims", "Gull Lane", True, True),
            ("quay", "Upper Quay", True, False),
        ):
            clinic = Clinic(name=name, by_parcel=by_parcel, trims=trims)
            db.add(clinic)
            db.flush()
            house.clinics[key] = clinic.id
        for who, (roles, clinics) in PEOPLE.items():
            house.people[who] = _hire(db, who, roles.split(), [house.clinics[key] for key in clinics.split()])
    return house


def demo_house(database: Database) -> House:
    """The same of the demo lab, whose people and clinics bear the same names here as those of a test's own lab."""
    clinic_names = {"house": "Harbour Steps", "trims": "Gull Lane", "quay": "Upper Quay"}
    first_names = {
        "technician": "Tamsin",
        "second technician": "Piran",
        "clinician": "Isolde",
        "parcel clinician": "Jory",
        "quay clinician": "Kerra",
        "manager": "Morwenna",
        "practitioner": "Denzil",
    }
    with database.reading() as db:
        people = {row.name.split()[0]: row.id for row in queries.staff(db)}
        clinics = {row.name: row.id for row in queries.clinics(db)}
        zone = queries.lab(db).zone
    return House(
        zone,
        {key: clinics[name] for key, name in clinic_names.items()},
        {who: people[name] for who, name in first_names.items()},
    )


def _hire(db: Session, who: str, roles: list[str], clinics: list[int]) -> int:
    staff = Staff(
        email=f"{who.replace(' ', '.')}@lab.example", name=who.capitalize(), roles=roles, joined_at=clock.now()
    )
    db.add(staff)
    db.flush()
    for clinic_id in clinics:
        db.add(StaffClinic(staff_id=staff.id, clinic_id=clinic_id))
    return staff.id


@contextmanager
def serving(app: FastAPI) -> Iterator[TestClient]:
    """Starts the app once for a test; `browser` and `program` give further people in it."""
    with TestClient(app, base_url="http://127.0.0.1", follow_redirects=False) as client:
        yield client


def browser(app: FastAPI, staff_id: int) -> TestClient:
    """A signed-in browser: the cookie, and the header that browsers send with their own site's requests."""
    token, now = new_token(), clock.now()
    with app.state.database.writing() as db:
        db.add(SignedIn(token_hash=hash_of(token), staff_id=staff_id, started_at=now, seen_at=now))
    headers = {"sec-fetch-site": "same-origin"}
    return TestClient(
        app, base_url="http://127.0.0.1", headers=headers, cookies={"pairtrail": token}, follow_redirects=False
    )


def program(app: FastAPI, staff_id: int) -> TestClient:
    """A program with a bearer token."""
    token = new_token()
    with app.state.database.writing() as db:
        db.add(ApiToken(token_hash=hash_of(token), staff_id=staff_id, made_at=clock.now()))
    headers = {"authorization": f"Bearer {token}"}
    return TestClient(app, base_url="http://127.0.0.1", headers=headers, follow_redirects=False)
