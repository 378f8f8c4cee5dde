"""A queue is drawn once and kept, yet whatever is changed by whichever process stands on the very next page."""

from collections.abc import Callable, Iterator
from datetime import timedelta

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import update
from sqlmodel import col

from app import clock
from app.bench.actions import materials
from app.database import Database, Kept
from app.main import build
from app.people.tables import Clinic, Lab, Staff
from app.settings import Settings
from tests import house as builders
from tests.bench.conftest import Lab as Story
from tests.house import House

Browser = Callable[[str], TestClient]


@pytest.fixture
def story(database: Database, house: House) -> Story:
    """Works through a database object of its own, as another process does."""
    return Story(database, house)


@pytest.fixture
def neighbour(settings: Settings, house: House) -> Iterator[FastAPI]:
    """A second server on the same lab."""
    app = build(settings)
    yield app
    app.state.database.close()


def queue(browser: TestClient, stage: str) -> str:
    return browser.get(f"/queue/{stage}").text


def test_what_another_process_did_stands_on_the_very_next_page(browser: Browser, story: Story) -> None:
    technician, codes = browser("technician"), []
    for number in range(10):
        codes.append(story.order(label=f"A {number}"))
        page = queue(technician, "check_in")
        assert all(code in page for code in codes)
        assert f"{number + 1} pair" in page
    for code in codes:
        story.act(code, "advance")
        assert code not in queue(technician, "check_in")
        assert code in queue(technician, "pour")


def test_a_lot_that_another_process_takes_into_use_stands_in_the_very_next_page(browser: Browser, story: Story) -> None:
    technician, code = browser("technician"), story.order()
    story.walk(code, "pour")
    plaster = {"kind": "plaster", "name": "Plaster", "unit": "g", "per_side": "900"}
    by = story.house.viewer("second technician")
    with story.database.writing() as db:
        of = materials.add(db, by=by, typed=plaster)
        lot = materials.add_lot(db, by=by, material_id=of, typed={"number": "P 1", "stock": "9000"})
    assert "lot P 1 in use" not in queue(technician, "pour")
    for act, seen in ((materials.take_into_use, True), (materials.put_away, False)):
        with story.database.writing() as db:
            act(db, by=by, lot_id=lot)
        assert ("lot P 1 in use" in queue(technician, "pour")) is seen


def test_two_servers_on_one_lab_show_each_other_s_acts(
    app: FastAPI, neighbour: FastAPI, house: House, story: Story
) -> None:
    code, person = story.order(), house.people["technician"]
    here, there = builders.browser(app, person), builders.browser(neighbour, person)
    for one in (here, there):
        assert code in queue(one, "check_in")
    done = here.post(f"/pair/{code}/acts", data={"act": "advance", "from_stage": "check_in"})
    assert done.status_code == 303
    for one in (there, here):
        row = f'href="/pair/{code}"'
        assert row not in queue(one, "check_in")
        assert row in queue(one, "pour")


def test_an_unchanged_queue_is_the_same_page(browser: Browser, story: Story) -> None:
    story.order()
    technician = browser("technician")
    assert queue(technician, "check_in") == queue(technician, "check_in")


def test_time_passes_on_a_page_that_nobody_changed(browser: Browser, story: Story) -> None:
    story.walk(story.order(), "wear_in")
    clinician = browser("clinician")
    before = queue(clinician, "wear_in")
    clock.set_shift(timedelta(minutes=5))
    assert "5\u00a0min" not in before
    assert "here 5\u00a0min" in queue(clinician, "wear_in")


def test_a_kept_queue_is_not_shown_to_another_clinic(browser: Browser, story: Story) -> None:
    mine = story.order(by="quay clinician", clinic="quay", label="Q 1")
    assert mine in queue(browser("technician"), "check_in")
    assert mine in queue(browser("quay clinician"), "check_in")
    assert mine not in queue(browser("clinician"), "check_in")
    assert mine not in queue(browser("parcel clinician"), "check_in")


def test_the_button_of_a_kept_queue_is_not_offered_to_another_role(browser: Browser, story: Story) -> None:
    code = story.order()
    assert f'aria-label="Check in {code}"' in queue(browser("technician"), "check_in")
    assert f'aria-label="Check in {code}"' not in queue(browser("manager"), "check_in")


def test_a_kept_page_names_the_person_who_looks_at_it(browser: Browser, story: Story) -> None:
    story.order()
    assert "Second technician" not in queue(browser("technician"), "check_in")
    assert "Second technician" in queue(browser("second technician"), "check_in")


def test_names_and_settings_that_were_changed_stand_on_the_next_page(
    browser: Browser, database: Database, story: Story
) -> None:
    story.order()
    technician = browser("technician")
    assert "Harbour Steps" in queue(technician, "check_in")
    with database.writing() as db:
        db.execute(update(Clinic).where(col(Clinic.name) == "Harbour Steps").values(name="Lobster Pot"))
        db.execute(update(Lab).values(demo=True))
    page = queue(technician, "check_in")
    assert "Lobster Pot" in page
    assert "Harbour Steps" not in page
    assert "Demo: invented data" in page


def test_access_that_ends_ends_with_the_very_next_page(
    browser: Browser, database: Database, house: House, story: Story
) -> None:
    story.order()
    technician = browser("technician")
    assert technician.get("/queue/check_in").status_code == 200
    with database.writing() as db:
        db.execute(update(Staff).where(col(Staff.id) == house.people["technician"]).values(ended_at=clock.now()))
    assert technician.get("/queue/check_in").status_code == 303


@pytest.mark.parametrize("path", ["/", "/queue/check_in", "/flags"])
def test_whoever_was_away_too_long_is_signed_out_of_a_page_that_did_not_change(
    browser: Browser, settings: Settings, story: Story, path: str
) -> None:
    story.order()
    manager = browser("manager")
    assert [manager.get(path).status_code for _ in range(3)] == [200] * 3
    clock.set_shift(timedelta(minutes=settings.idle_minutes + 1))
    assert manager.get(path).status_code == 303


def test_looking_at_the_same_page_again_and_again_is_not_being_away(
    browser: Browser, settings: Settings, story: Story
) -> None:
    story.order()
    technician = browser("technician")
    for minutes in range(0, 2 * settings.idle_minutes, 5):
        clock.set_shift(timedelta(minutes=minutes))
        assert [technician.get("/queue/check_in").status_code for _ in range(3)] == [200] * 3


def test_a_page_seen_just_before_signing_out_is_not_shown_to_the_old_cookie(browser: Browser, story: Story) -> None:
    story.order()
    technician = browser("technician")
    token = technician.cookies["pairtrail"]
    assert [technician.get("/queue/check_in").status_code for _ in range(3)] == [200] * 3
    assert technician.post("/sign-out").status_code == 303
    technician.cookies.set("pairtrail", token)
    assert technician.get("/queue/check_in").status_code == 303


def test_what_an_act_said_is_said_once(browser: Browser, story: Story) -> None:
    code, technician = story.order(), browser("technician")
    acted = technician.post(
        f"/pair/{code}/acts", data={"act": "advance", "from_stage": "check_in", "back": "/queue/check_in"}
    )
    assert 'class="said"' in technician.get(acted.headers["location"]).text
    for _ in range(3):
        assert 'class="said"' not in technician.get(acted.headers["location"]).text


def test_a_page_that_is_answered_again_has_every_header_and_an_id_of_its_own(browser: Browser, story: Story) -> None:
    story.order()
    technician = browser("technician")
    first, second, third = (technician.get("/queue/check_in") for _ in range(3))
    ids = {answer.headers["x-request-id"] for answer in (first, second, third)}
    assert len(ids) == 3
    for answer in (second, third):
        assert {**answer.headers, "x-request-id": ""} == {**first.headers, "x-request-id": ""}


def test_a_session_that_was_just_looked_up_is_still_no_api_token(browser: Browser, app: FastAPI) -> None:
    technician = browser("technician")
    assert technician.get("/queue/check_in").status_code == 200
    program = TestClient(app, base_url="http://127.0.0.1")
    program.headers["authorization"] = f"Bearer {technician.cookies['pairtrail']}"
    assert program.get("/api/v1/queues").status_code == 401


def test_a_value_is_kept_under_its_mark_and_made_anew_under_another() -> None:
    kept: Kept[int] = Kept(most=2)
    made = iter(range(10))
    assert [kept.get("a", "x", lambda: next(made)) for _ in range(3)] == [0, 0, 0]
    assert kept.get("b", "x", lambda: next(made)) == 1
    assert kept.get("a", "x", lambda: next(made)) == 2, "a mark that has passed is not believed again"
    assert [kept.get("a", key, lambda: next(made)) for key in "yzy"] == [3, 4, 5], "no more than two are held"
