"""What nobody may read by the way: another clinic's pairs in a list, and a wearer's name outside the own clinics.

Every page and answer of the built app is asked for, so a new list is looked at without being named here.
"""

import re
from collections.abc import Iterator, Mapping

import pytest
from fastapi import FastAPI
from fastapi.routing import iter_route_contexts
from sqlmodel import col, delete

from app.bench.actions import parcels
from app.bench.rules.stages import STAGES
from app.database import Database
from app.people.tables import StaffClinic
from tests import house as builders
from tests.bench.conftest import Lab
from tests.house import House
from tests.people.conftest import Browser

WEARER = "Ada Fenn"
OWN, OTHER = "quay", "trims"
CLINICIANS = {OWN: "quay clinician", OTHER: "parcel clinician"}


class Things:
    """What parameters of addresses may stand for at one clinic, and the codes of its pairs."""

    def __init__(self, lab: Lab, clinic: str) -> None:
        """A pair to check in, one to send and one in a parcel; the labels of both clinics begin alike."""
        by, clinic_id = CLINICIANS[clinic], lab.house.clinics[clinic]
        wearer = {"name": WEARER}
        self.codes = [lab.order(by=by, clinic=clinic, label=f"LOOK {clinic} {n}", wearer=wearer) for n in range(3)]
        for code in self.codes[1:]:
            lab.walk(code, "send", by)
        with lab.database.writing() as db:
            parcel = parcels.send(db, by=lab.house.viewer("technician"), clinic_id=clinic_id, codes=self.codes[2:])
        self.places = {"code": self.codes[0], "parcel_id": str(parcel.id), "staff_id": str(lab.house.people[by])}


@pytest.fixture
def lab(database: Database, house: House) -> Lab:
    return Lab(database, house)


@pytest.fixture
def own(lab: Lab) -> Things:
    return Things(lab, OWN)


@pytest.fixture
def other(lab: Lab) -> Things:
    return Things(lab, OTHER)


def addresses(app: FastAPI, things: Things) -> Iterator[str]:
    """All that can be looked at, each queue once; paper as a page, whose text can be read, and not as a PDF."""
    for route in iter_route_contexts(app.routes):
        path = str(route.path)
        if "GET" not in (route.methods or ()) or path.endswith(".pdf"):
            continue
        for stage in STAGES if "{stage}" in path else [""]:
            filled = _filled(path, things.places | {"stage": stage, "token": "none"})
            yield f"{filled}?q=LOOK&start={things.codes[0]}"


def _filled(path: str, places: Mapping[str, str]) -> str:
    """A parameter that is not known here stays as it stands: the answer is looked at all the same."""
    return re.sub(r"{(\w+)[^}]*}", lambda word: places.get(word[1], word[0]), path)


def shown(app: FastAPI, house: House, who: str, things: Things) -> dict[str, str]:
    """Everything that this person is shown, by address."""
    browser, program = builders.browser(app, house.people[who]), builders.program(app, house.people[who])
    return {
        address: (program if address.startswith("/api/") else browser).get(address).text
        for address in addresses(app, things)
    }


def test_a_clinician_is_shown_nothing_of_another_clinic(app: FastAPI, house: House, own: Things, other: Things) -> None:
    pages = shown(app, house, "quay clinician", own)
    assert [address for address, text in pages.items() if any(code in text for code in other.codes)] == []
    assert [address for address, text in pages.items() if f"LOOK {OTHER}" in text] == []
    listed = "".join(text for address, text in pages.items() if "{" not in address and own.codes[1] not in address)
    assert all(code in listed for code in own.codes), "the own pairs are there, so the look was no empty one"


@pytest.mark.parametrize("who", ["technician", "manager"])
def test_a_wearer_s_name_is_for_the_own_clinicians_alone(app: FastAPI, house: House, own: Things, who: str) -> None:
    assert [address for address, text in shown(app, house, who, own).items() if WEARER in text] == []
    assert WEARER in "".join(shown(app, house, "quay clinician", own).values())


def test_who_works_at_one_clinic_and_at_the_bench_is_no_clinician_elsewhere(
    browser: Browser, lab: Lab, database: Database, other: Things
) -> None:
    """Roles add up, but a clinician is one at the own clinics alone."""
    with database.writing() as db:
        here = col(StaffClinic.clinic_id) == lab.house.clinics[OTHER]
        db.execute(delete(StaffClinic).where(here, col(StaffClinic.staff_id) == lab.house.people["practitioner"]))
    practitioner, code = browser("practitioner"), other.codes[0]
    assert practitioner.get(f"/pair/{code}").status_code == 200
    assert practitioner.get(f"/pair/{code}/prescription").status_code == 403
    assert WEARER not in practitioner.get(f"/pair/{code}").text
