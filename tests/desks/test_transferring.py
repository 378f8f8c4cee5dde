"""A manager moves a wearer to another clinic by page: the record and every pair go along, once it is meant."""

from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from app.bench import queries
from app.database import Database
from app.journal.tables import Entry
from tests.bench.conftest import Lab
from tests.house import House
from tests.people.forms import read

Browser = Callable[[str], TestClient]


@pytest.fixture
def lab(database: Database, house: House) -> Lab:
    return Lab(database, house)


def form(lab: Lab, code: str, **more: str) -> dict[str, str]:
    state = lab.at(code)
    shown = {"from_stage": state.stage or "", "version": str(state.version)}
    return shown | {"clinic": str(lab.house.clinics["quay"]), "reason": "moved house", "confirm": "yes"} | more


def test_the_page_shows_every_pair_of_the_wearer_and_both_go_along_with_the_reason(browser: Browser, lab: Lab) -> None:
    first, second, other = lab.order(), lab.order(), lab.order(label="MR 1")
    manager = browser("manager")
    assert f'href="/pair/{first}/transfer"' in manager.get(f"/pair/{first}").text
    page = manager.get(f"/pair/{first}/transfer").text
    assert first in page
    assert second in page
    assert other not in page
    assert "MR 2210 is at Harbour Steps now" in page
    done = manager.post(f"/pair/{first}/transfer", data=form(lab, first))
    assert (done.status_code, done.headers["location"]) == (303, f"/pair/{first}")
    for code in (first, second):
        assert lab.row(code)["clinic_id"] == lab.house.clinics["quay"]
        assert "send" in lab.at(code).route, "it goes on by the other clinic's way"
        with lab.database.reading() as db:
            last = queries.last_move(db, lab.row(code)["id"])
        assert last is not None
        assert (last.act, last.words) == ("transfer", "moved house")
    assert browser("clinician").get(f"/pair/{first}").status_code == 404
    assert browser("quay clinician").get(f"/pair/{first}").status_code == 200
    assert lab.row(other)["clinic_id"] == lab.house.clinics["house"]


def test_what_is_missing_is_named_at_its_field_and_what_was_typed_stays(browser: Browser, lab: Lab) -> None:
    code, manager = lab.order(), browser("manager")
    empty = manager.post(f"/pair/{code}/transfer", data={})
    assert (empty.status_code, read(empty.text).wrong) == (422, {"clinic", "reason", "confirm"})
    unticked = form(lab, code)
    del unticked["confirm"]
    again = manager.post(f"/pair/{code}/transfer", data=unticked)
    page = read(again.text)
    assert page.wrong == {"confirm"}
    assert (page.values["clinic"], page.values["reason"]) == (str(lab.house.clinics["quay"]), "moved house")
    assert lab.row(code)["clinic_id"] == lab.house.clinics["house"]


def test_a_chart_number_that_the_other_clinic_has_is_told_at_the_clinic(browser: Browser, lab: Lab) -> None:
    code = lab.order()
    lab.order("quay clinician", clinic="quay", label="mr-2210")
    answer = browser("manager").post(f"/pair/{code}/transfer", data=form(lab, code))
    assert (answer.status_code, read(answer.text).wrong) == (422, {"clinic"})
    assert "Upper Quay has a wearer with the label MR 2210 already" in answer.text
    assert lab.row(code)["clinic_id"] == lab.house.clinics["house"]


def test_a_pair_that_moved_on_meanwhile_or_is_in_a_parcel_stays_and_the_page_says_so(
    browser: Browser, lab: Lab
) -> None:
    code, manager = lab.order(), browser("manager")
    shown = form(lab, code)
    lab.walk(code, "pour")
    assert manager.post(f"/pair/{code}/transfer", data=shown).status_code == 409
    sent = lab.order("quay clinician", clinic="quay", label="MR 77")
    lab.walk(sent, "send", "quay clinician")
    answer = manager.post(f"/pair/{sent}/transfer", data=form(lab, sent, clinic=str(lab.house.clinics["house"])))
    assert answer.status_code == 409
    assert f"{sent} is being sent" in answer.text
    assert lab.row(code)["clinic_id"] == lab.house.clinics["house"]
    assert lab.row(sent)["clinic_id"] == lab.house.clinics["quay"]


def test_a_clinic_that_is_not_there_is_not_found_and_nothing_is_written(browser: Browser, lab: Lab) -> None:
    code = lab.order()
    for clinic in ("999", "9" * 30):
        assert browser("manager").post(f"/pair/{code}/transfer", data=form(lab, code, clinic=clinic)).status_code == 404
    with lab.database.reading() as db:
        assert db.exec(select(Entry).where(Entry.what == "transferred")).all() == []
