"""The lab's settings and clinics: journalled with old and new, the calendar replaced and never rewritten."""

from datetime import date
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from app.database import Database
from app.journal.tables import Note
from app.people import queries
from app.people.queries import ClinicRow, LabRow
from app.people.tables import Calendar
from tests.house import House
from tests.people.conftest import Browser, Journal
from tests.people.forms import read


def as_shown(manager: TestClient) -> dict[str, Any]:
    """What the lab's page would send if nothing on it were touched."""
    page = read(manager.get("/lab").text)
    names = ("name", "phone", "zone", "address", "country", "region", "closures", "last_allowance")
    hours = {name: value for name, value in page.values.items() if name.partition(".")[2].isdigit()}
    stages = [value for name, value in page.ticked if name == "stages_on"]
    return {name: page.values[name] for name in names} | hours | {"stages_on": stages}


def save(manager: TestClient, **changes: Any) -> int:
    return manager.post("/lab", data=as_shown(manager) | changes).status_code


def lab(database: Database) -> LabRow:
    with database.reading() as db:
        return queries.lab(db)


def calendars(database: Database) -> list[Calendar]:
    with database.reading() as db:
        return list(db.exec(select(Calendar).order_by("id")))


def clinic(database: Database, clinic_id: int) -> ClinicRow:
    with database.reading() as db:
        return queries.clinic(db, clinic_id)


def test_saving_the_page_untouched_changes_and_writes_nothing(
    browser: Browser, database: Database, journal: Journal
) -> None:
    before = lab(database)
    assert save(browser("manager")) == 303
    assert lab(database) == before
    assert len(calendars(database)) == 1
    assert journal("lab_changed") == []


@pytest.mark.parametrize(
    ("field", "value", "stored"),
    [
        ("zone", "Atlantic/Azores", "Atlantic/Azores"),
        ("stages_on", ["inspect", "grind"], ["grind", "inspect"]),
        ("last_allowance", "20", 200),
    ],
)
def test_a_setting_is_journalled_with_what_it_was_and_what_it_is(
    browser: Browser, house: House, database: Database, journal: Journal, field: str, value: object, stored: object
) -> None:
    manager, old = browser("manager"), getattr(lab(database), field)
    assert save(manager, **{field: value}) == 303
    assert getattr(lab(database), field) == stored
    (entry,) = journal("lab_changed")
    # Hours are of a zone: in another one they are other hours.
    hours = {"fields": [field, "calendar"], "calendar": [1, 2]} if field == "zone" else {"fields": [field]}
    assert (entry.staff_id, entry.facts) == (house.people["manager"], hours | {field: [old, stored]})
    assert save(manager) == 303
    assert len(journal("lab_changed")) == 1


@pytest.mark.parametrize(
    ("field", "value", "note"),
    [
        ("name", "Saltmarsh Lab", "name: Saltmarsh Bay Lab → Saltmarsh Lab"),
        ("phone", "01632 960 199", "phone: - → 01632 960 199"),
        ("address", "2 Slipway\nSaltmarsh Bay", "address: - → 2 Slipway\nSaltmarsh Bay"),
    ],
)
def test_words_stand_in_a_note_and_the_log_names_their_field(
    browser: Browser, database: Database, journal: Journal, field: str, value: str, note: str
) -> None:
    assert save(browser("manager"), **{field: value}) == 303
    assert getattr(lab(database), field) == value
    (entry,) = journal("lab_changed")
    assert entry.facts == {"fields": [field], "note": entry.facts["note"]}
    with database.reading() as db:
        assert db.get_one(Note, entry.facts["note"]).words == note


@pytest.mark.parametrize(
    "change",
    [{"from.5": "09:00", "to.5": "13:00"}, {"country": "PT"}, {"closures": "2026-12-24"}, {"from.4": "", "to.4": ""}],
    ids=["another day", "holidays", "closures", "a day off"],
)
def test_a_changed_calendar_becomes_a_new_one_and_the_old_one_stays_as_it_was(
    browser: Browser, database: Database, journal: Journal, change: dict[str, str]
) -> None:
    (old,) = calendars(database)
    assert save(browser("manager"), **change) == 303
    kept, new = calendars(database)
    assert kept == old
    assert lab(database).calendar_id == new.id != old.id
    (entry,) = journal("lab_changed")
    assert entry.facts == {"fields": ["calendar"], "calendar": [old.id, new.id]}


def test_public_holidays_and_closed_days_are_no_working_days(browser: Browser, database: Database) -> None:
    save(browser("manager"), country="GB", region="SCT", closures="2026-12-29")
    with database.reading() as db:
        calendar = queries.work_calendar(db)
    # 2 January and Christmas Day are bank holidays in Scotland (gov.uk/bank-holidays); the 29th is the lab's own.
    for day in ("2026-01-02", "2026-12-25", "2026-12-29"):
        assert not calendar.is_working_day(date.fromisoformat(day)), day
    assert calendar.is_working_day(date(2026, 12, 30))


def test_a_mistake_comes_back_with_everything_that_was_typed(
    browser: Browser, database: Database, journal: Journal
) -> None:
    before = lab(database)
    manager = browser("manager")
    typed = as_shown(manager) | {"name": "Another name", "to.0": "07:00", "stages_on": "inspect"}
    answer = manager.post("/lab", data=typed)
    page = read(answer.text)
    assert answer.status_code == 422
    assert page.wrong == {"from.0", "pause.0", "again.0", "to.0"}
    assert (page.values["name"], page.values["to.0"]) == ("Another name", "07:00")
    assert ("stages_on", "inspect") in page.ticked
    assert lab(database) == before
    assert journal("lab_changed") == []


def keep(manager: TestClient, clinic_id: int | str = "", **facts: str) -> int:
    form = {"clinic_id": str(clinic_id)} if clinic_id else {}
    return manager.post("/lab/clinics", data=form | facts).status_code


def test_a_clinic_is_added(browser: Browser, database: Database, house: House, journal: Journal) -> None:
    manager = browser("manager")
    assert keep(manager, clinic=" Lime Kiln ", clinic_address="9 Kiln Row", by_parcel="yes") == 303
    (entry,) = journal("clinic_added")
    assert entry.staff_id == house.people["manager"]
    assert entry.subject_id is not None
    row = clinic(database, entry.subject_id)
    assert (row.name, row.address, row.by_parcel, row.trims) == ("Lime Kiln", "9 Kiln Row", True, False)


def test_a_clinic_is_changed_and_journalled_by_field(
    browser: Browser, database: Database, house: House, journal: Journal
) -> None:
    manager, quay = browser("manager"), house.clinics["quay"]
    assert keep(manager, quay, clinic="Upper Quay", clinic_phone="01632 960 333", trims="yes", by_parcel="yes") == 303
    assert clinic(database, quay).trims
    (entry,) = journal("clinic_changed")
    assert (entry.subject_id, set(entry.facts["fields"])) == (quay, {"phone", "trims"})
    assert entry.facts["trims"] == [False, True]
    keep(manager, quay, clinic="Upper Quay", clinic_phone="01632 960 333", trims="yes", by_parcel="yes")
    assert len(journal("clinic_changed")) == 1


def test_a_clinic_needs_a_name_of_its_own_and_what_was_typed_stays(
    browser: Browser, database: Database, house: House
) -> None:
    manager, quay = browser("manager"), house.clinics["quay"]
    for name in ("", "   ", "gull LANE", "x" * 121):
        form = {"clinic_id": str(quay), "clinic": name, "clinic_address": "9 Kiln Row", "trims": "yes"}
        answer = manager.post("/lab/clinics", data=form)
        assert answer.status_code == 422, name
        page = read(answer.text)
        assert page.wrong == {"clinic"}, name
        assert "9 Kiln Row" in answer.text
        assert ("trims", "yes") in page.ticked
    assert clinic(database, quay).name == "Upper Quay"


def test_a_clinic_that_does_not_exist_is_not_found(browser: Browser, journal: Journal) -> None:
    manager = browser("manager")
    for clinic_id in ("999", "-1", "\N{SUPERSCRIPT TWO}", "9" * 40, "one"):
        assert keep(manager, clinic_id, clinic="Lime Kiln") == 404, clinic_id
    assert journal("clinic_added") == []


@pytest.mark.parametrize("who", ["technician", "clinician"])
def test_a_colleague_who_is_no_manager_neither_sees_nor_changes_the_settings(
    browser: Browser, database: Database, who: str
) -> None:
    form, before = as_shown(browser("manager")), lab(database)
    colleague = browser(who)
    assert colleague.get("/lab").status_code == 403
    assert colleague.post("/lab", data=form | {"name": "Mine"}).status_code == 403
    assert colleague.post("/lab", data={}).status_code == 403
    assert keep(colleague, clinic="Mine") == 403
    assert lab(database) == before


def test_a_stranger_is_asked_to_sign_in(stranger: TestClient, house: House) -> None:
    assert stranger.get("/lab").headers["location"] == "/sign-in?then=/lab"
    assert stranger.post("/lab", data={"name": "Mine"}).status_code == 401
    assert keep(stranger, clinic="Mine") == 401


def test_the_usual_days_on_the_way_are_a_clinic_s_setting(
    browser: Browser, database: Database, house: House, journal: Journal
) -> None:
    manager, quay = browser("manager"), house.clinics["quay"]
    assert keep(manager, quay, clinic="Upper Quay", by_parcel="yes", transit_days="3") == 303
    assert clinic(database, quay).transit_days == 3
    (entry,) = journal("clinic_changed")
    assert entry.facts == {"fields": ["transit_days"], "transit_days": [1, 3]}
    for typed in ("", "soon", "-1", "31", "1.5", "\N{SUPERSCRIPT TWO}"):
        answer = manager.post(
            "/lab/clinics", data={"clinic_id": str(quay), "clinic": "Upper Quay", "transit_days": typed}
        )
        page = read(answer.text)
        assert (answer.status_code, page.wrong) == (422, {"transit_days"}), typed
    assert clinic(database, quay).transit_days == 3
