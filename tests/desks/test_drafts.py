"""An order that is still being typed: kept, gone on with elsewhere, seen by nobody else, and gone when it has to be."""

import json
import logging
import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import col, func, select

from app import clock
from app.database import Database
from app.exchange.actions import TIMETABLE, Worker
from app.journal.tables import Entry, Note
from app.orders.rules.drafts import MOST
from app.orders.tables import Order, OrderDraft
from app.people.tables import StaffClinic
from tests.desks.test_order_form import order, typed
from tests.house import House

Browser = Callable[[str], TestClient]
KEY = "a-form-of-a-test"


def begun(house: House, key: str = KEY, **more: Any) -> dict[str, Any]:
    return typed(house, draft=key, name="Ada Fenn", **{"L.additions": ["met_pad", "heel_pad"]}) | more


def kept(browser: TestClient, form: dict[str, Any]) -> str:
    answer = browser.post("/orders/drafts", data=form)
    assert answer.status_code == 200, answer.text
    return answer.text


def notes(database: Database) -> list[str | None]:
    with database.reading() as db:
        return list(db.exec(select(Note.words).order_by(col(Note.id))).all())


def test_what_is_typed_is_gone_on_with_on_another_device_and_thrown_away_when_it_is_ordered(
    browser: Browser, house: House, database: Database
) -> None:
    desktop, tablet = browser("clinician"), browser("clinician")
    kept(desktop, begun(house, label="MR 22", **{"L.shell_thickness": "3,5"}))
    assert "Scan files are not kept" in kept(desktop, begun(house, **{"L.shell_thickness": "3,5"}))
    page = tablet.get("/orders/new").text
    assert "Go on with what you began (MR 2210, " in page
    page = tablet.get(f"/orders/new?draft={KEY}").text
    assert "Go on with what you began" not in page, "it is the one on the page"
    for words in ('value="MR 2210"', 'value="Ada Fenn"', 'value="3,5"', f'name="draft" value="{KEY}"'):
        assert words in page
    ticked = re.findall(r'value="(\w+)"\s+checked', page)
    assert {"met_pad", "heel_pad"} <= set(ticked)
    order(tablet, begun(house))
    assert notes(database) == []
    assert desktop.get(f"/orders/new?draft={KEY}").status_code == 404
    late = kept(desktop, begun(house))
    assert "Not kept: this order was placed" in late, "what was still on its way is not kept again"
    assert notes(database) == []


def test_without_javascript_a_button_keeps_it_and_a_refused_order_leaves_it(
    browser: Browser, house: House, database: Database
) -> None:
    clinician = browser("clinician")
    answer = clinician.post("/orders/new", data=begun(house, keep_draft="yes"))
    assert (answer.status_code, answer.headers["location"]) == (303, f"/orders/new?draft={KEY}")
    assert clinician.post("/orders/new", data=begun(house, label="")).status_code == 422
    with database.reading() as db:
        assert db.exec(select(Order)).all() == []
    assert 'value="MR 2210"' in clinician.get(f"/orders/new?draft={KEY}").text


def test_several_drafts_stand_beside_each_other_and_one_goes_in_one_act(browser: Browser, house: House) -> None:
    clinician = browser("clinician")
    for label in ("MR 1", "MR 2"):
        kept(clinician, begun(house, label.replace(" ", "-draft-"), label=label))
    page = clinician.get("/orders/new").text
    assert page.index("(MR 2, ") < page.index("(MR 1, "), "the last one first"
    assert clinician.post("/orders/drafts/MR-draft-2").status_code == 303
    page = clinician.get("/orders/new").text
    assert "MR 2" not in page
    assert "(MR 1, " in page


def test_nobody_else_sees_or_throws_away_a_draft_and_nothing_of_it_is_logged(
    browser: Browser, house: House, database: Database, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    kept(browser("clinician"), begun(house))
    for who in ("practitioner", "quay clinician"):
        assert "MR 2210" not in browser(who).get("/orders/new").text
        assert browser(who).get(f"/orders/new?draft={KEY}").status_code == 404
        browser(who).post(f"/orders/drafts/{KEY}")
    assert "MR 2210" in browser("clinician").get(f"/orders/new?draft={KEY}").text
    with database.reading() as db:
        entries = db.exec(select(Entry)).all()
    assert "Fenn" not in caplog.text + json.dumps([entry.model_dump(mode="json") for entry in entries])


def test_a_draft_for_another_s_clinic_is_refused_and_one_of_a_clinic_that_was_left_is_not_shown(
    browser: Browser, house: House, database: Database
) -> None:
    clinician = browser("clinician")
    form = begun(house, clinic_id=house.clinics["quay"])
    assert clinician.post("/orders/drafts", data=form).status_code == 404
    kept(clinician, begun(house))
    with database.writing() as db:
        there = db.exec(select(StaffClinic).where(StaffClinic.staff_id == house.people["clinician"])).one()
        there.clinic_id = house.clinics["quay"]
    assert clinician.get(f"/orders/new?draft={KEY}").status_code == 404


def test_what_erasure_blanks_is_no_draft_any_more(browser: Browser, house: House, database: Database) -> None:
    clinician = browser("clinician")
    order(clinician, typed(house))
    kept(clinician, begun(house))
    with database.writing() as db:
        note = db.exec(select(Note)).one()
        assert note.patient_id is not None, "it is found by the wearer whose label it bears"
        note.words = None
    assert "Go on with" not in clinician.get("/orders/new").text
    assert clinician.get(f"/orders/new?draft={KEY}").status_code == 404


def test_a_draft_left_for_thirty_days_is_gone_with_its_words(
    browser: Browser, house: House, database: Database
) -> None:
    kept(browser("clinician"), begun(house, "left-alone"))
    clock.set_shift(timedelta(days=29))
    kept(browser("clinician"), begun(house, "gone-on-with", label="MR 9"))
    clock.set_shift(timedelta(days=31))
    assert "drop_old_drafts" in Worker(database, TIMETABLE, {}).tick()
    with database.reading() as db:
        assert db.exec(select(OrderDraft.key)).all() == ["gone-on-with"]
    assert len(notes(database)) == 1


def test_the_same_once_more_writes_nothing_and_there_is_an_end_to_them(
    browser: Browser, house: House, database: Database
) -> None:
    clinician = browser("clinician")
    for number in range(MOST):
        kept(clinician, begun(house, f"draft-no-{number}"))
    full = clinician.post("/orders/new", data=begun(house, keep_draft="yes"))
    assert full.status_code == 422
    assert f"You have {MOST} drafts; order or throw one away" in full.text
    assert 'value="Ada Fenn"' in full.text, "nothing of it is lost"
    assert clinician.post("/orders/drafts", data=begun(house, "short")).status_code == 422
    assert clinician.post("/orders/drafts", data=begun(house, "draft-no-1", name="x" * 70_000)).status_code == 422
    with database.reading() as db:
        before = db.exec(select(func.max(OrderDraft.kept_at))).one()
    kept(clinician, begun(house, "draft-no-0"))
    with database.reading() as db:
        assert db.exec(select(func.max(OrderDraft.kept_at))).one() == before
