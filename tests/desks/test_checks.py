"""A prescription is looked at before it is written down: a caution has to be seen, a stop changed or signed."""

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

from fastapi.testclient import TestClient
from sqlmodel import select

from app import clock
from app.capture.tables import WorkedFrom
from app.database import Database
from app.journal.tables import Entry
from app.orders.tables import Order, Patient, Prescription
from tests.desks.test_api import order_body
from tests.desks.test_order_form import typed
from tests.house import House

Browser = Callable[[str], TestClient]
Program = Callable[[str], TestClient]
NUMB: dict[str, Any] = {"risks": ["sensation_loss"], "L.cover": "none", "R.cover": "eva"}
"""Cautions for the rigid shells and for covers that differ, and a stop because nothing cushions the left foot."""
SEEN = {"seen.rigid.L": "yes", "seen.rigid.R": "yes", "seen.apart.cover": "yes"}


def orders(database: Database) -> int:
    with database.reading() as db:
        return len(db.exec(select(Order)).all())


def test_what_was_found_stands_at_its_field_and_nothing_is_written(
    browser: Browser, house: House, database: Database
) -> None:
    answer = browser("clinician").post("/orders/new", data=typed(house, **NUMB))
    assert answer.status_code == 422
    assert "Nothing cushions the left foot" in answer.text
    assert answer.text.count("A rigid left shell") == 3, "in the summary, at its field, among the checks"
    assert 'name="signed.bare.L"' in answer.text
    assert 'name="seen.rigid.R"' in answer.text
    assert "van Netten" in answer.text, "each check says where it comes from"
    assert orders(database) == 0


def test_a_caution_is_seen_and_a_stop_signed(browser: Browser, house: House, database: Database) -> None:
    clinician = browser("clinician")
    half = clinician.post("/orders/new", data=typed(house, **NUMB, **SEEN))
    assert half.status_code == 422
    (tick,) = re.findall(r'<input[^>]*name="seen.rigid.L"[^>]*>', half.text)
    assert "checked" in tick, "what was answered stays answered"
    signed = {"signed.bare.L": "A soft liner stays in the shoe."}
    done = clinician.post("/orders/new", data=typed(house, **NUMB, **SEEN, **signed))
    assert done.status_code == 303, done.text
    page = clinician.get(done.headers["location"]).text
    assert "Nothing cushions the left foot" in page
    assert "A soft liner stays in the shoe." in page
    with database.reading() as db:
        kept = db.exec(select(Prescription)).one().checks
        signings = db.exec(select(Entry).where(Entry.what == "stop_signed")).all()
    assert [each["key"] for each in kept] == ["bare.L", "rigid.L", "rigid.R", "apart.cover"]
    assert [entry.facts["check"] for entry in signings] == ["bare.L"]


def test_the_bench_does_not_read_what_the_checks_say_of_the_wearer(browser: Browser, house: House) -> None:
    signed = {"signed.bare.L": "A soft liner stays in the shoe."}
    done = browser("clinician").post("/orders/new", data=typed(house, **NUMB, **SEEN, **signed))
    page = browser("technician").get(done.headers["location"]).text
    assert "does not feel" not in page
    assert "soft liner" not in page


def test_an_empty_reason_signs_nothing(browser: Browser, house: House) -> None:
    answer = browser("clinician").post("/orders/new", data=typed(house, **NUMB, **SEEN, **{"signed.bare.L": "  "}))
    assert answer.status_code == 422


def test_what_was_answered_is_not_lost_by_another_mistake(browser: Browser, house: House) -> None:
    form = typed(house, **NUMB, **SEEN, **{"signed.bare.L": "a liner", "wanted_on": "soon"})
    page = " ".join(browser("clinician").post("/orders/new", data=form).text.split())
    assert '<input type="hidden" name="signed.bare.L" value="a liner">' in page
    assert '<input type="hidden" name="seen.rigid.L" value="yes">' in page


def test_the_checks_of_a_half_filled_form_write_nothing(browser: Browser, house: House, database: Database) -> None:
    form = {
        "sides": "LR",
        "R.cover": "eva",
        "risks": ["sensation_loss"],
        "L.cover": "none",
        "R.shell_thickness": "thick",
    }
    answer = browser("clinician").post("/orders/checks", data=form)
    assert answer.status_code == 200
    assert "Nothing cushions the left foot" in answer.text
    assert "<html" not in answer.text
    assert browser("technician").post("/orders/checks", data=form).status_code == 403
    assert orders(database) == 0


def test_a_program_gets_the_findings_and_answers_them_by_key(program: Program, house: House) -> None:
    clinician = program("clinician")
    soft = {"shell": "polypropylene", "shell_thickness": 40, "cover": "eva"}
    body = order_body(house, wearer={"risks": ["sensation_loss"]}, prescription={"L": soft, "R": soft})
    problem = clinician.post("/api/v1/orders", json=body)
    assert problem.status_code == 422
    found = problem.json()["findings"]
    assert {each["key"]: each["level"] for each in found} == {"rigid.L": "caution", "rigid.R": "caution"}
    assert all(each["sentence"] and each["source"] and each["trust"] for each in found)
    made = clinician.post("/api/v1/orders", json=body | {"acknowledged": [each["key"] for each in found]})
    assert made.status_code == 201, made.text


def test_a_changed_prescription_is_checked_with_what_the_record_says(program: Program, house: House) -> None:
    clinician = program("clinician")
    wearer = {"mass_kg": 90, "posture_left": 6, "posture_right": 6}
    body = order_body(house, wearer=wearer, acknowledged=["thickness.L", "thickness.R"])
    code = clinician.post("/api/v1/orders", json=body).json()["code"]
    side = {"shell": "polypropylene", "shell_thickness": 30}
    change: dict[str, Any] = {"prescription": {"L": side, "R": side}}
    problem = clinician.post(f"/api/v1/pairs/{code}/prescription", json=change)
    assert problem.status_code == 422
    assert "4.5" in problem.json()["fields"]["L.shell_thickness"]
    assert clinician.get(f"/api/v1/pairs/{code}").json()["version"] == 1
    thick = {"prescription": {each: side | {"shell_thickness": 45} for each in "LR"}}
    assert clinician.post(f"/api/v1/pairs/{code}/prescription", json=thick).status_code == 200


def test_an_ulcer_that_came_after_the_order_can_be_answered_when_the_prescription_changes(
    program: Program, browser: Browser, house: House, database: Database
) -> None:
    code = program("clinician").post("/api/v1/orders", json=order_body(house)).json()["code"]
    with database.writing() as db:
        db.exec(select(Patient)).one().risks = ["active_ulcer"]
    clinician, form = browser("clinician"), {f"{side}.shell": "eva" for side in "LR"}
    form |= {f"{side}.shell_thickness": "4" for side in "LR"}
    asked = clinician.post(f"/pair/{code}/prescription", data=form)
    assert asked.status_code == 422
    assert 'name="signed.ulcer"' in asked.text
    done = clinician.post(f"/pair/{code}/prescription", data=form | {"signed.ulcer": "The wound clinic, daily."})
    assert done.status_code == 303, done.text


def bring_to(program: Program, code: str, stage: str) -> None:
    """The bench does its work until the pair stands at `stage`."""
    technician = program("technician")
    while (now := technician.get(f"/api/v1/pairs/{code}").json()["stage"]) != stage:
        done = technician.post(f"/api/v1/pairs/{code}/acts", json={"act": "advance", "from_stage": now})
        assert done.status_code == 200, done.text


def test_a_measured_foot_is_held_against_the_shoe(program: Program, house: House) -> None:
    shoe = {"size": 39, "system": "eu", "inside_width": 850}
    feet = {"L": {"length": 2_700, "breadth": 1_000}}
    body = order_body(house, shoe=shoe, feet=feet)
    problem = program("clinician").post("/api/v1/orders", json=body).json()
    assert "made for a foot of about 245.0" in problem["fields"]["shoe.size"]
    assert "the shoe 85.0" in problem["fields"]["L.shell_width"], "the breadth against the inside of the shoe"


def test_an_old_capture_is_questioned_and_so_is_a_remake_from_it(
    program: Program, browser: Browser, house: House, database: Database
) -> None:
    clinician = program("clinician")
    long_ago = (clock.now() - timedelta(days=400)).date().isoformat()
    body = order_body(house, captured_on=long_ago)
    problem = clinician.post("/api/v1/orders", json=body).json()
    assert "13 months ago" in problem["fields"]["capture.L"]
    code = clinician.post("/api/v1/orders", json=body | {"acknowledged": ["stale.L", "stale.R"]}).json()["code"]
    bring_to(program, code, "dispense")
    form = {"act": "remake", "from_stage": "dispense", "sides": "L", "reason": "fit", "start": "capture"}
    person = browser("clinician")
    asked = person.post(f"/pair/{code}/acts", data=form)
    assert asked.status_code == 422
    assert 'name="seen.stale.L"' in asked.text
    seen = {"seen.stale.L": "yes", "seen.stale.R": "yes"}
    done = person.post(f"/pair/{code}/acts", data=form | seen)
    assert done.status_code == 303, done.text
    with database.reading() as db:
        rows = db.exec(select(WorkedFrom)).all()
    assert len({row.order_id for row in rows}) == 2, "the new pair is worked from the old one's captures"
    assert len({row.capture_id for row in rows}) == 2


def test_a_capture_of_tomorrow_is_refused(program: Program, house: House) -> None:
    tomorrow = (clock.now() + timedelta(days=2)).date().isoformat()
    problem = program("clinician").post("/api/v1/orders", json=order_body(house, captured_on=tomorrow)).json()
    assert "yet to come" in problem["fields"]["captured_on"]
