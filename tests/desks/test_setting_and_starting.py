"""The pair's page at stages that set, and the buttons of a lab that records who begins."""

from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient

from app.database import Database
from app.errors import Unready
from tests.bench.conftest import Lab
from tests.house import House

Browser = Callable[[str], TestClient]


@pytest.fixture
def lab(database: Database, house: House) -> Lab:
    return Lab(database, house)


def at(lab: Lab, stage: str) -> str:
    code = lab.order()
    lab.walk(code, stage)
    return code


def test_a_technician_says_how_long_the_plaster_sets(browser: Browser, lab: Lab) -> None:
    technician, code = browser("technician"), at(lab, "pour")
    page = technician.get(f"/pair/{code}").text
    assert "Plaster sets for" in page
    assert 'value="45"' in page
    done = {"act": "advance", "from_stage": "pour"}
    refused = technician.post(f"/pair/{code}/acts", data=done | {"sets_for": "an hour"})
    assert refused.status_code == 422
    assert 'value="an hour"' in refused.text
    assert technician.post(f"/pair/{code}/acts", data=done | {"sets_for": "90"}).status_code == 303
    assert "Setting until" in technician.get(f"/pair/{code}").text
    queue = technician.get("/queue/press").text
    assert "setting until" in queue
    assert "0 pairs and 1 setting" in queue
    assert "1 setting" in technician.get("/queue/check_in").text, "the line of queues says so too"


def test_a_field_left_empty_sets_nothing(browser: Browser, lab: Lab) -> None:
    code = at(lab, "cover")
    done = {"act": "advance", "from_stage": "cover", "sets_for": ""}
    assert browser("technician").post(f"/pair/{code}/acts", data=done).status_code == 303
    assert lab.row(code)["not_before"] is None


def test_who_begins_is_not_recorded_unless_the_lab_wants_it(browser: Browser, lab: Lab) -> None:
    technician, code = browser("technician"), at(lab, "press")
    assert 'value="start"' not in technician.get(f"/pair/{code}").text
    with pytest.raises(Unready, match="does not record who begins work"):
        lab.act(code, "start")
    manager = browser("manager")
    settings = manager.get("/lab").text
    assert "Off unless the lab wants it" in settings
    lab.record_starts()
    assert 'value="start"' in technician.get(f"/pair/{code}").text


def test_the_switch_is_in_the_lab_s_settings_and_its_change_in_the_journal(browser: Browser, lab: Lab) -> None:
    form = {"name": "The Lab", "zone": lab.house.zone, "from.0": "08:00", "to.0": "17:00"}
    manager = browser("manager")
    assert manager.post("/lab", data=form | {"marks_start": "yes"}).status_code == 303
    lab.act(code := at(lab, "press"), "start")
    assert manager.post("/lab", data=form).status_code == 303
    with pytest.raises(Unready):
        lab.act(code, "put_down")


def test_begun_work_says_by_whom_until_it_goes_on_or_is_put_down(browser: Browser, lab: Lab) -> None:
    lab.record_starts()
    technician, code = browser("technician"), at(lab, "press")
    assert technician.post(f"/pair/{code}/acts", data={"act": "start", "from_stage": "press"}).status_code == 303
    page = browser("second technician").get(f"/pair/{code}").text
    assert "Begun by Technician" in page
    assert 'value="put_down"' in page
    assert 'value="start"' not in page
    lab.act(code, "promise", reason="Busy", facts={"day": "2031-05-06"})
    assert lab.row(code)["started_by"], "another act on the pair stops no work"
    lab.act(code, "put_down")
    assert lab.row(code)["started_by"] is None
    lab.act(code, "start")
    lab.act(code, "advance")
    assert lab.row(code)["started_by"] is None
    lab.act(code, "start")
    lab.act(code, "park", reason="material", waiting_on="supplier")
    assert "Begun by" not in technician.get(f"/pair/{code}").text, "a parked pair is worked by nobody"
