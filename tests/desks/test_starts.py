"""Starting prescriptions: kept for a clinic or for oneself, put into the order form, renamed and thrown away."""

from collections.abc import Callable
from typing import Any

from fastapi.testclient import TestClient
from sqlmodel import col, select

from app.database import Database
from app.journal.tables import Entry
from app.orders.tables import StartingPrescription
from app.people.tables import Clinic
from tests.desks.test_journal import lines
from tests.desks.test_order_form import order, typed
from tests.house import House
from tests.people.forms import read

Browser = Callable[[str], TestClient]


def keep(browser: TestClient, house: House, name: str, whom: str = "me", **more: Any) -> str:
    form = typed(house, start_name=name, start_for=whom, keep_start="yes", name="Ada Fenn", **more)
    answer = browser.post("/orders/new", data=form)
    assert answer.status_code == 200, answer.text
    return answer.text


def test_a_start_holds_the_prescription_and_the_route_and_nothing_of_the_wearer(
    browser: Browser, house: House, database: Database
) -> None:
    page = keep(browser("clinician"), house, " Rigid,  runner ", way="carved", **{"L.heel_cup": "14", "rush": "soon"})
    assert "Kept as a start for you: Rigid, runner." in page
    assert 'value="Ada Fenn"' in page, "what was typed is still in the form"
    with database.reading() as db:
        kept = db.exec(select(StartingPrescription)).one()
    side = {"shell": "polypropylene", "shell_thickness": 40}
    assert (kept.name, kept.way, kept.body) == ("Rigid, runner", "carved", {"L": side | {"heel_cup": 140}, "R": side})
    assert kept.clinic_id is None
    assert not any(words in kept.model_dump_json() for words in ("Ada Fenn", "MR 2210", "soon"))


def test_it_is_put_into_a_form_that_keeps_all_else(browser: Browser, house: House) -> None:
    keep(browser("clinician"), house, "Rigid", "clinic", sides="L", way="carved", **{"L.heel_cup": "14"})
    practitioner = browser("practitioner")
    assert "Rigid (Harbour Steps)" in practitioner.get("/orders/new").text
    taking = {"L.skive": "2", "R.skive": "3", "note.press": "mind the heel", "risks": ["diabetes"]}
    form = read(practitioner.post("/orders/new", data=typed(house, take="yes", start_id="1", **taking)).text)
    shown = {name: form.values[name] for name in ("way", "L.heel_cup", "L.skive", "R.skive", "note.press", "label")}
    assert shown == {
        "way": "carved",
        "L.heel_cup": "14",
        "L.skive": "",
        "R.skive": "3",
        "note.press": "mind the heel",
        "label": "MR 2210",
    }
    assert {("risks", "diabetes"), ("sides", "LR")} <= set(form.ticked)


def test_it_is_put_in_as_the_form_s_units_have_it(browser: Browser, house: House, database: Database) -> None:
    keep(browser("clinician"), house, "Rigid")
    with database.writing() as db:
        db.get_one(Clinic, house.clinics["house"]).units = "imperial"
    form = {"units": "imperial", "take": "yes", "start_id": "1"}
    assert 'value="0.157"' in browser("clinician").post("/orders/new", data=form).text


def test_a_pair_s_prescription_is_kept_from_its_page_and_a_start_without_a_name_is_told_there(
    browser: Browser, house: House
) -> None:
    clinician = browser("clinician")
    code = order(clinician, typed(house))
    answer = clinician.post(f"/pair/{code}/start", data={"start_name": " ", "start_for": "clinic"})
    assert answer.status_code == 422
    assert "A start has a name of at most 60 characters" in answer.text
    assert clinician.post(f"/pair/{code}/start", data={"start_name": "Usual"}).status_code == 303
    assert "Usual (yours)" in clinician.get("/orders/new").text
    assert browser("technician").post(f"/pair/{code}/start", data={"start_name": "Usual"}).status_code == 403


def test_a_start_without_what_has_to_be_prescribed_is_not_kept(
    browser: Browser, house: House, database: Database
) -> None:
    form = typed(house, start_name="Rigid", keep_start="yes", **{"L.shell": ""})
    answer = browser("clinician").post("/orders/new", data=form)
    assert answer.status_code == 422
    assert "Shell of the left is missing." in answer.text
    with database.reading() as db:
        assert db.exec(select(StartingPrescription)).all() == []


def test_it_is_renamed_and_thrown_away_by_those_it_is_for_and_each_is_journalled(
    browser: Browser, house: House, database: Database
) -> None:
    clinician = browser("clinician")
    keep(clinician, house, "Mine")
    keep(clinician, house, "Ours", "clinic")
    for who, sees in (("practitioner", ["Ours"]), ("quay clinician", [])):
        page = browser(who).get("/orders/starts").text
        assert [name for name in ("Mine", "Ours") if name in page] == sees
        assert browser(who).post("/orders/starts/1", data={"act": "throw_away"}).status_code == 404
        refused = browser(who).post("/orders/new", data=typed(house, take="yes", start_id="1"))
        assert refused.status_code == 422
        assert "Choose a start that is still there." in refused.text
    wrong = clinician.post("/orders/starts/2", data={"start_name": "x" * 61})
    assert wrong.status_code == 422
    assert 'aria-invalid="true"' in wrong.text
    for _ in range(2):
        clinician.post("/orders/starts/2", data={"start_name": "Ours, softer"})
    clinician.post("/orders/starts/2", data={"act": "throw_away"})
    clinician.get("/orders/starts")  # says once that it is gone
    assert "Ours" not in clinician.get("/orders/starts").text
    with database.reading() as db:
        said = [entry.what for entry in db.exec(select(Entry).where(Entry.subject == "start").order_by(col(Entry.id)))]
    assert said == ["start_kept", "start_kept", "start_renamed", "start_thrown_away"]
    told = lines(browser("manager"), kind="start_renamed")
    assert len(told) == 1
    assert "renamed a starting prescription: start 2" in told[0]
    assert "Ours, softer" in told[0]
