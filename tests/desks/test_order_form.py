"""The order form by people: what is typed is never lost, every fault stands at its field, and nothing is half done."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from app import clock
from app.database import Database
from app.journal.tables import Entry, Note
from app.orders.tables import Order, Patient, Prescription
from app.people.tables import Clinic, Lab
from tests.house import House

Browser = Callable[[str], TestClient]


def typed(house: House, **more: Any) -> dict[str, Any]:
    form: dict[str, Any] = {
        "clinic_id": house.clinics["house"],
        "prescriber_id": house.people["clinician"],
        "label": "MR 2210",
        "way": "cast",
        "sides": "LR",
        "capture.L": "foam",
        "capture.R": "foam",
    }
    for side in ("L", "R"):
        form |= {f"{side}.shell": "polypropylene", f"{side}.shell_thickness": "4,0"}
    return form | more


SEEN = {"L.cover": "eva", "R.cover": "eva", "seen.rigid.L": "yes", "seen.rigid.R": "yes"}
"""A rigid shell under a foot that feels nothing has to be meant, even with a cover on it."""


def order(browser: TestClient, form: dict[str, Any]) -> str:
    answer = browser.post("/orders/new", data=form)
    assert answer.status_code == 303, answer.text
    return answer.headers["location"].rsplit("/", 1)[-1]


def test_an_order_with_everything_in_it_is_kept(browser: Browser, house: House, database: Database) -> None:
    clinician = browser("clinician")
    form = typed(
        house,
        name="Ada Fenn",
        born_on="1958-04-30",
        mass_kg="176 lb",
        posture_left="7",
        risks=["diabetes", "sensation_loss"],
        rush="travels on Friday",
        wanted_on="2027-03-01",
        **{
            "shoe.kind": "walking",
            "shoe.size": "42",
            "shoe.system": "eu",
            "shoe.liner": "out",
            "shoe.inside_width": "94.5",
            "L.rearfoot_post": "4/4",
            "L.additions": ["met_pad", "heel_pad"],
            "note.press": "mind the left heel",
            "L.cover": "eva",
            "R.cover": "eva",
            "seen.rigid.L": "yes",
            "seen.rigid.R": "yes",
            "seen.thickness.L": "yes",
        },
    )
    code = order(clinician, form)
    with database.reading() as db:
        patient, made = db.exec(select(Patient)).one(), db.exec(select(Order)).one()
    assert (patient.name, patient.mass_kg, patient.posture_left) == ("Ada Fenn", 79.8, 7)
    assert patient.risks == ["diabetes", "sensation_loss"]
    assert made.shoe == {"kind": "walking", "size": 42.0, "system": "eu", "liner": "out", "inside_width": 945}
    page = clinician.get(f"/pair/{code}").text
    assert "4° varus / 4° motion" in page
    assert "mind the left heel" in page


def test_the_bench_is_told_what_the_work_needs_and_not_why(browser: Browser, house: House) -> None:
    code = order(browser("clinician"), typed(house, here="yes", risks=["sensation_loss"], **SEEN))
    technician = browser("technician")
    for stage in ("pour", "press"):
        technician.post(f"/pair/{code}/acts", data={"act": "advance", "from_stage": stage})
    row = technician.get("/queue/cover").text
    assert "no hard edges, no seams" in row
    assert "sensation" not in row


def test_the_bench_sees_the_label_and_never_the_name_or_the_risk(browser: Browser, house: House) -> None:
    code = order(browser("clinician"), typed(house, name="Ada Fenn", risks=["diabetes"]))
    for page in (f"/pair/{code}", "/queue/check_in", "/"):
        text = browser("technician").get(page).text
        assert "MR 2210" in text
        assert "Ada Fenn" not in text
        assert "diabetes" not in text


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"label": " "}, "label"),
        ({"capture.L": ""}, "capture.L"),
        ({"R.shell_thickness": "forty"}, "R.shell_thickness"),
        ({"R.shell_thickness": "0.2"}, "R.shell_thickness"),
        ({"L.rearfoot_post": "steep"}, "L.rearfoot_post"),
        ({"wanted_on": "soon"}, "wanted_on"),
        ({"born_on": "last century"}, "born_on"),
        ({"mass_kg": "heavy"}, "mass_kg"),
        ({"posture_left": "13"}, "posture_left"),
        ({"risks": ["active_ulcer"]}, "ulcer"),
        ({"shoe.size": "big"}, "shoe.size"),
        ({"shoe.inside_width": "2"}, "shoe.inside_width"),
        ({"prescriber_id": "999"}, "prescriber_id"),
    ],
)
def test_a_fault_stands_at_its_field_and_what_was_typed_is_still_there(
    browser: Browser, house: House, database: Database, wrong: dict[str, Any], field: str
) -> None:
    hostile = "<script>alert('x')</script>"
    answer = browser("clinician").post("/orders/new", data=typed(house, rush=hostile) | wrong)
    assert answer.status_code == 422
    assert f'id="f-{field}"' in answer.text
    assert 'aria-invalid="true"' in answer.text
    assert hostile not in answer.text
    assert "&lt;script&gt;alert(" in answer.text
    assert 'value="4,0"' in answer.text
    with database.reading() as db:
        assert db.exec(select(Order)).all() == []
        assert db.exec(select(Patient)).all() == []


def test_an_active_ulcer_stops_the_order_until_it_is_said_who_treats_it(
    browser: Browser, house: House, database: Database
) -> None:
    order(
        browser("clinician"), typed(house, risks=["active_ulcer"], ulcer="Wound clinic; off-loads the heel meanwhile")
    )
    with database.reading() as db:
        note = db.get_one(Note, db.exec(select(Order.ulcer_note_id)).one())
    assert note.words == "Wound clinic; off-loads the heel meanwhile"


def test_left_copies_to_right_in_one_act(browser: Browser, house: House, database: Database) -> None:
    form = typed(house, **{"L.heel_cup": "14", "R.shell": "eva", "R.skive": "2", "copy": "LR"})
    answer = browser("clinician").post("/orders/new", data=form)
    assert answer.status_code == 200
    assert answer.text.count('value="14"') == 2
    assert 'value="2"' not in answer.text
    with database.reading() as db:
        assert db.exec(select(Order)).all() == []


def test_a_new_order_starts_from_an_earlier_one(browser: Browser, house: House) -> None:
    clinician = browser("clinician")
    code = order(clinician, typed(house, **{"L.heel_cup": "14.5", "L.additions": ["met_bar"], "shoe.kind": "boot"}))
    form = clinician.get(f"/orders/new?start={code}").text
    assert 'value="14.5"' in form
    assert 'value="MR 2210"' in form
    assert browser("quay clinician").get(f"/orders/new?start={code}").status_code == 404


def test_the_cast_is_here_checks_it_in_at_once(browser: Browser, house: House) -> None:
    clinician = browser("clinician")
    code = order(clinician, typed(house, here="yes"))
    assert "The pair" in clinician.get(f"/pair/{code}").text
    assert f"/pair/{code}" in browser("technician").get("/queue/pour").text


def test_a_changed_prescription_is_the_next_version_and_stops_the_bench(browser: Browser, house: House) -> None:
    clinician, technician = browser("clinician"), browser("technician")
    code = order(clinician, typed(house, here="yes"))
    form = {"L.shell": "eva", "L.shell_thickness": "12", "R.shell": "eva", "R.shell_thickness": "12"}
    assert clinician.post(f"/pair/{code}/prescription", data=form | {"L.shell_thickness": "x"}).status_code == 422
    assert clinician.post(f"/pair/{code}/prescription", data=form).status_code == 303
    page = technician.get(f"/pair/{code}").text
    assert "Prescription 2" in page
    assert "Parked: waits on the lab" in page
    found = technician.get("/find", params={"q": f"{code}/1"})
    assert found.headers["location"] == f"/pair/{code}"
    assert "prescription%202%20holds" in found.headers["set-cookie"]
    assert technician.post(f"/pair/{code}/prescription", data=form).status_code == 403


def test_reading_a_wearer_s_record_is_journalled_once_an_hour(
    browser: Browser, house: House, database: Database
) -> None:
    clinician = browser("clinician")
    code = order(clinician, typed(house, name="Ada Fenn"))
    for _ in range(3):
        assert "Ada Fenn" in clinician.get(f"/pair/{code}").text
    browser("technician").get(f"/pair/{code}")
    with database.reading() as db:
        entries = db.exec(select(Entry).where(Entry.what == "patient_read")).all()
    assert [(entry.staff_id, entry.subject_id) for entry in entries] == [(house.people["clinician"], 1)]
    clock.set_shift(timedelta(hours=1))
    clinician = browser("clinician")
    clinician.get(f"/pair/{code}")
    with database.reading() as db:
        assert len(db.exec(select(Entry).where(Entry.what == "patient_read")).all()) == 2


def test_a_clinic_that_measures_in_inches_types_and_reads_them(
    browser: Browser, house: House, database: Database
) -> None:
    with database.writing() as db:
        db.get_one(Clinic, house.clinics["house"]).units = "imperial"
    clinician = browser("clinician")
    page = clinician.get("/orders/new").text
    assert '<input type="hidden" name="units" value="imperial">' in page
    form = typed(house, units="imperial", mass_kg="176") | {
        "L.shell_thickness": "3/16",
        "R.shell_thickness": "4.8 mm",
        "foot.L.length": "9 3/4",
        "shoe.inside_width": "3.72",
    }
    code = order(clinician, form)
    with database.reading() as db:
        body = db.exec(select(Prescription)).one().body
        made, patient = db.exec(select(Order)).one(), db.exec(select(Patient)).one()
    assert body["L"]["shell_thickness"] == body["R"]["shell_thickness"] == 48
    assert made.feet == {"L": {"length": 2_476}}
    assert (made.shoe["inside_width"], patient.mass_kg) == (945, 79.8)
    page = clinician.get(f"/pair/{code}").text
    assert "0.189\u00a0in" in page
    assert "175.9\u00a0lb" in page
    assert "4.8\u00a0mm" in browser("technician").get(f"/pair/{code}").text, "the bench works in millimetres"
    change = clinician.get(f"/pair/{code}/prescription").text
    assert 'value="0.189"' in change
    again = clinician.get(f"/orders/new?start={code}").text
    assert 'name="foot.L.length"' in again
    assert 'value="9.748"' in again


def test_a_length_beyond_its_range_is_told_in_the_units_it_was_typed_in(browser: Browser, house: House) -> None:
    form = typed(house, units="imperial") | {"L.shell_thickness": "4", "R.shell_thickness": "0.16"}
    page = browser("clinician").post("/orders/new", data=form).text
    assert "from 0.039\u00a0in to 0.787\u00a0in; &#39;4&#39; is not." in page


def test_sizes_stand_beside_the_feet_and_the_shoe_while_they_are_typed(
    browser: Browser, house: House, database: Database
) -> None:
    with database.writing() as db:
        db.get_one(Lab, 1).last_allowance = 200
    typing = {"foot.L.length": "250", "shoe.size": "42", "shoe.system": "eu"}
    page = browser("clinician").post("/orders/checks", data=typing).text
    assert "EU 40.5 · UK 7 · US men 8 · US women 9.5 · Mondopoint 250" in page
    assert "made for a foot of about 260.0" in page
    assert "no exact conversion exists" in page
