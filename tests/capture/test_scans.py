"""Scan files from the order to check-in: who may add one, what it tells, what is refused, and what is kept then."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx2
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from app.capture import queries as captures
from app.capture.tables import Capture, Scan
from app.database import Database
from app.desks import actions
from app.journal.tables import Entry
from app.orders.tables import Order
from app.settings import ROOT
from tests.bench.conftest import Lab
from tests.house import House

Person = Callable[[str], TestClient]
FEET = {path.stem: path.read_bytes() for path in (ROOT / "app/demo/feet").glob("*.stl")}
LEFT, RIGHT = FEET["adult-left"], FEET["adult-right"]


@pytest.fixture
def lab(database: Database, house: House) -> Lab:
    return Lab(database, house)


@pytest.fixture
def code(lab: Lab) -> str:
    """A pair that is worked from scans, ordered at Harbour Steps and not yet checked in."""
    return order(lab)


def order(lab: Lab, **more: Any) -> str:
    sides = more.get("sides", "LR")
    return lab.order(way="direct", captures=dict.fromkeys(sides, "scan"), **more)


def add(person: TestClient, code: str, side: str, content: bytes, name: str = "Foot of Ada.STL") -> httpx2.Response:
    return person.post(f"/pair/{code}/scan/{side}", files={"scan": (name, content)})


def states(lab: Lab, code: str) -> dict[str, str]:
    with lab.database.reading() as db:
        return {row.side: row.state for row in captures.of_order(db, lab.row(code)["order_id"])}


def stored(app: FastAPI) -> list[Path]:
    return [path for path in app.state.storage.folder.rglob("*") if path.is_file()]


def test_a_clinic_adds_both_scans_and_the_bench_sees_what_they_measure(browser: Person, lab: Lab, code: str) -> None:
    clinician = browser("clinician")
    assert "Add the left scan file" in clinician.get(f"/pair/{code}").text
    for side, content in (("L", LEFT), ("R", RIGHT)):
        answer = add(clinician, code, side, content)
        assert (answer.status_code, answer.headers["location"]) == (303, f"/pair/{code}#scans")
    assert states(lab, code) == {"L": "arrived", "R": "arrived"}
    page = browser("technician").get(f"/pair/{code}").text
    for words in (
        "244.4\u00a0mm",
        "94.2\u00a0mm",
        "6.3° in",
        "2,238",
        "watertight",
        "847\u00a0cm³",
        "added by Clinician",
    ):
        assert words in page
    assert "no source" in page
    assert "Left scan</b> 244.4 by 94.2 mm" in page, "the figures stand in the check-in, too"
    assert "mm apart" not in page
    lab.act(code, "advance")
    assert states(lab, code) == {"L": "accepted", "R": "accepted"}


def test_a_file_comes_back_as_it_was_under_a_name_of_ours(browser: Person, code: str, database: Database) -> None:
    technician = browser("technician")
    assert technician.get(f"/pair/{code}/scan/L").status_code == 404
    add(technician, code, "L", LEFT)
    answer = technician.get(f"/pair/{code}/scan/L")
    assert answer.content == LEFT
    assert answer.headers["content-disposition"] == f'attachment; filename="{code}-left.stl"'
    assert answer.headers["content-type"] == "application/octet-stream"
    assert answer.headers["x-content-type-options"] == "nosniff"
    with database.reading() as db:
        read = db.exec(select(Entry.staff_id).where(Entry.what == "patient_read")).all()
        added = db.exec(select(Entry).where(Entry.what == "scan_added")).one()
    assert len(read) == 1, "a foot is a patient's: taking it out is journalled, once an hour"
    assert added.staff_id == read[0]
    assert set(added.facts) == {"scan"}


def test_feet_of_very_different_length_make_someone_look_twice(browser: Person, code: str) -> None:
    technician = browser("technician")
    add(technician, code, "L", LEFT)
    add(technician, code, "R", FEET["small-right"])
    page = technician.get(f"/pair/{code}").text
    assert "Left is 244.4\u00a0mm long and right 220.0\u00a0mm, more than 15.0\u00a0mm apart" in page


def test_another_file_takes_the_place_of_the_first_and_both_stay_in_the_store(
    app: FastAPI, browser: Person, code: str, database: Database
) -> None:
    technician = browser("technician")
    for content in (LEFT, FEET["small-left"], FEET["small-left"]):
        assert add(technician, code, "L", content).status_code == 303
    assert technician.get(f"/pair/{code}/scan/L").content == FEET["small-left"]
    with database.reading() as db:
        assert len(db.exec(select(Scan)).all()) == 2, "the same file again is nothing new"
    assert len(stored(app)) == 2


def test_one_file_is_not_taken_for_both_sides(app: FastAPI, browser: Person, code: str) -> None:
    technician = browser("technician")
    add(technician, code, "L", LEFT)
    answer = add(technician, code, "R", LEFT)
    assert answer.status_code == 422
    assert "the very file that the other side has" in answer.text
    assert len(stored(app)) == 1


def test_after_check_in_another_scan_is_a_recapture(browser: Person, lab: Lab, code: str) -> None:
    technician = browser("technician")
    add(technician, code, "L", LEFT)
    lab.act(code, "advance")
    page = technician.get(f"/pair/{code}").text
    assert "Replace the left" not in page
    assert "Add the right scan file" in page, "what was checked in by eye may still get its file"
    assert "ask for a recapture" in add(technician, code, "L", FEET["small-left"]).text
    lab.act(code, "recapture", sides="L", reason="broken")
    assert states(lab, code)["L"] == "expected"
    assert add(technician, code, "L", FEET["small-left"]).status_code == 303
    assert states(lab, code)["L"] == "arrived"


def test_only_a_side_that_is_worked_from_a_scan_takes_one(browser: Person, lab: Lab) -> None:
    technician = browser("technician")
    cast = lab.order(label="C 1")
    assert "scan file" not in technician.get(f"/pair/{cast}").text
    assert "takes no scan file" in add(technician, cast, "L", LEFT).text
    left_only = order(lab, label="L 1", sides="L")
    assert add(technician, left_only, "R", RIGHT).status_code == 404
    gone = order(lab, label="W 1")
    lab.act(gone, "withdraw", by="clinician", reason="moved away", facts={"code": gone})
    assert add(technician, gone, "L", LEFT).status_code == 409


@pytest.mark.parametrize(
    ("who", "sees", "adds"),
    [("technician", 200, 303), ("clinician", 200, 303), ("quay clinician", 404, 404), ("manager", 200, 403)],
)
def test_own_clinics_and_the_bench_add_scans_and_nobody_else(
    browser: Person, code: str, who: str, sees: int, adds: int
) -> None:
    add(browser("practitioner"), code, "L", LEFT)
    assert browser(who).get(f"/pair/{code}/scan/L").status_code == sees
    assert add(browser(who), code, "R", RIGHT).status_code == adds


HOSTILE = {
    "a zip that calls itself stl": ("foot.stl", b"PK\x03\x04" + LEFT, "archive (zip)"),
    "another kind of file": ("foot.zip", LEFT, "is none of them"),
    "cut short": ("foot.stl", LEFT[:-7], "cut short"),
    "nothing chosen": ("", b"", "Choose the scan file first"),
}


@pytest.mark.anywhere
@pytest.mark.parametrize("case", HOSTILE)
def test_what_is_no_foot_is_told_at_its_field_and_leaves_nothing(
    app: FastAPI, browser: Person, lab: Lab, code: str, case: str
) -> None:
    name, content, words = HOSTILE[case]
    answer = add(browser("technician"), code, "L", content, name)
    assert answer.status_code == 422
    assert answer.text.count(words) == 2, "in the summary and at the field"
    assert 'href="#f-scan.L"' in answer.text
    assert 'id="f-scan.L"' in answer.text
    assert states(lab, code)["L"] == "expected"
    assert stored(app) == []


def test_what_could_not_be_written_down_is_not_kept_in_the_store(
    app: FastAPI, browser: Person, lab: Lab, code: str
) -> None:
    """The file is stored within the act: where the act comes to nothing, so does the file."""
    from app.capture.reading import scans as reading

    file = reading.read("foot.stl", LEFT)
    with pytest.raises(RuntimeError), lab.database.writing() as db:
        actions.add_scan(db, app.state.storage, code=code, side="L", file=file, by=lab.house.viewer("technician"))
        assert len(stored(app)) == 1
        raise RuntimeError
    assert stored(app) == []
    assert states(lab, code)["L"] == "expected"


def test_the_routes_of_scans_take_large_bodies_and_no_other_route_does(browser: Person, lab: Lab, code: str) -> None:
    technician, large = browser("technician"), b"\0" * 2_000_000
    assert "holds 0 triangles" in add(technician, code, "L", large).text
    assert technician.post(f"/pair/{code}/acts", data={"act": "park", "words": "x" * 2_000_000}).status_code == 413
    clinician = browser("clinician")
    assert clinician.post("/orders/new", data={"rush": "x" * 2_000_000}).status_code == 413
    too_large = b"\0" * 62_000_000
    assert add(technician, code, "L", too_large).status_code == 413


# With the order itself.


def typed(house: House, **more: Any) -> dict[str, Any]:
    form = {
        "clinic_id": house.clinics["house"],
        "prescriber_id": house.people["clinician"],
        "label": "MR 2210",
        "way": "direct",
        "sides": "LR",
        "capture.L": "scan",
        "capture.R": "scan",
    }
    for side in ("L", "R"):
        form |= {f"{side}.shell": "polypropylene", f"{side}.shell_thickness": "4,0"}
    return form | more


def test_scans_come_with_the_order(browser: Person, house: House, lab: Lab) -> None:
    files = {"scan.L": ("l.stl", LEFT), "scan.R": ("r.stl", RIGHT)}
    answer = browser("clinician").post("/orders/new", data=typed(house), files=files)
    assert answer.status_code == 303, answer.text
    code = answer.headers["location"].rsplit("/", 1)[-1]
    assert states(lab, code) == {"L": "arrived", "R": "arrived"}


def test_an_order_of_scans_may_come_first_and_its_files_later(browser: Person, house: House, lab: Lab) -> None:
    """A browser sends a file field that was left empty along, with no name."""
    empty = {"scan.L": ("", b""), "scan.R": ("", b"")}
    answer = browser("clinician").post("/orders/new", data=typed(house, here="yes"), files=empty)
    code = answer.headers["location"].rsplit("/", 1)[-1]
    assert states(lab, code) == {"L": "accepted", "R": "accepted"}
    assert "Add the left scan file" in browser("technician").get(f"/pair/{code}").text


@pytest.mark.anywhere
@pytest.mark.parametrize(
    ("files", "more", "faults"),
    [
        ({"scan.L": ("l.stl", LEFT[:-1]), "scan.R": ("r.stl", RIGHT)}, {}, {"L": "cut short", "R": "once more"}),
        ({"scan.L": ("l.stl", LEFT)}, {"label": ""}, {"L": "once more"}),
        ({"scan.L": ("l.stl", LEFT)}, {"capture.L": "foam"}, {"L": "choose scan as this foot"}),
        ({"scan.R": ("r.stl", RIGHT)}, {"sides": "L"}, {"R": "choose scan as this foot"}),
        ({"scan.L": ("l.stl", LEFT), "scan.R": ("r.stl", LEFT)}, {}, {"R": "the very file that the other side has"}),
    ],
)
def test_a_refused_order_keeps_what_was_typed_and_asks_for_its_files_once_more(
    app: FastAPI,
    browser: Person,
    house: House,
    database: Database,
    files: dict[str, Any],
    more: dict[str, Any],
    faults: dict[str, str],
) -> None:
    answer = browser("clinician").post("/orders/new", data=typed(house, rush="travels") | more, files=files)
    assert answer.status_code == 422
    for side, words in faults.items():
        assert words in answer.text.split(f'id="f-scan.{side}-error"')[1].split("</p>")[0]
    assert 'value="4,0"' in answer.text
    assert 'value="travels"' in answer.text
    with database.reading() as db:
        assert (db.exec(select(Order)).all(), db.exec(select(Capture)).all()) == ([], [])
    assert stored(app) == []


def test_copying_a_side_says_that_the_file_has_to_be_chosen_again(browser: Person, house: House) -> None:
    answer = browser("clinician").post(
        "/orders/new", data=typed(house, copy="LR"), files={"scan.L": ("l.stl", b"not looked at")}
    )
    assert answer.status_code == 200
    assert "Choose this file once more" in answer.text


def test_nobody_s_files_are_read_for_those_who_may_not_order(browser: Person, house: House) -> None:
    files = {"scan.L": ("l.stl", LEFT)}
    assert browser("technician").post("/orders/new", data=typed(house), files=files).status_code == 403


# By programs.


def send(client: TestClient, code: str, side: str, content: bytes) -> httpx2.Response:
    return client.post(f"/api/v1/pairs/{code}/scans/{side}", files={"scan": ("foot.stl", content)})


def test_a_program_adds_a_scan_and_is_told_what_it_measures(program: Person, lab: Lab, code: str) -> None:
    answer = send(program("technician"), code, "R", RIGHT)
    assert answer.status_code == 201, answer.text
    told = answer.json()
    assert (told["length_mm"], told["width_mm"], told["toe_out_deg"]) == (244.4, 94.2, -6.3)
    assert (told["triangles"], told["watertight"], told["volume_cm3"]) == (2238, True, 847.4)
    assert states(lab, code) == {"L": "expected", "R": "arrived"}


def test_a_program_is_told_what_is_wrong_with_a_scan(program: Person, code: str) -> None:
    technician = program("technician")
    problem = send(technician, code, "L", LEFT[:-1])
    assert (problem.status_code, "cut short" in problem.json()["fields"]["scan"]) == (422, True)
    assert technician.post(f"/api/v1/pairs/{code}/scans/L").status_code == 422
    assert send(technician, code, "X", LEFT).status_code == 422
    assert send(program("quay clinician"), code, "L", LEFT).status_code == 404
    assert send(program("manager"), code, "L", LEFT).status_code == 403


def test_the_reference_says_how_a_scan_is_sent(program: Person) -> None:
    paths = program("technician").get("/api/v1/openapi.json").json()["paths"]
    body = paths["/api/v1/pairs/{code}/scans/{side}"]["post"]["requestBody"]["content"]
    assert "stl, .obj or .ply" in body["multipart/form-data"]["schema"]["properties"]["scan"]["description"]
