"""The first manager sets the lab up on a link that works once; a mistake is said at its field and nothing is lost."""

import re
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import httpx2
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from app import clock
from app.database import Database
from app.people import actions, queries
from app.people.rules import Role
from tests.people.conftest import PASSWORD, Journal, visitor
from tests.people.forms import read

FORM: dict[str, str] = {
    "name": "Saltmarsh Bay Lab",
    "phone": "01632 960 100",
    "zone": "Europe/London",
    "address": "1 Slipway",
    **{f"{name}.{day}": time for day in range(4) for name, time in (("from", "08:00"), ("to", "17:00"))},
    "from.4": "08:00",
    "pause.4": "12:00",
    "again.4": "12:30",
    "to.4": "15:00",
    "country": "GB",
    "region": "eng",
    "closures": "2026-12-31, 2026-12-24",
    "stages_on": "grind",
    "clinic.0": "Harbour Steps",
    "clinic.1": "Gull Lane",
    "parcel.1": "yes",
    "trims.1": "yes",
    "person": "Morwenna Pike",
    "email": "Morwenna@Lab.example",
    "password": PASSWORD,
}


@pytest.fixture
def address(database: Database) -> str:
    """The page of the link that `pairtrail serve` prints on an empty database."""
    with database.writing() as db:
        return f"/set-up/{actions.set_up_link(db)}"


def marked(answer: httpx2.Response) -> set[str]:
    return read(answer.text).wrong


def test_the_link_sets_up_the_lab_and_signs_its_manager_in(
    stranger: TestClient, address: str, database: Database, journal: Journal
) -> None:
    assert stranger.get(address).status_code == 200
    answer = stranger.post(address, data=FORM)
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    assert "The lab is set up" in stranger.get("/").text
    with database.reading() as db:
        lab, calendar = queries.lab(db), queries.calendar_row(db)
        clinics, (manager,) = queries.clinics(db), queries.staff(db)
    assert (lab.name, lab.zone, lab.stages_on, lab.demo) == ("Saltmarsh Bay Lab", "Europe/London", ["grind"], False)
    assert calendar.hours == [[["08:00", "17:00"]]] * 4 + [[["08:00", "12:00"], ["12:30", "15:00"]], [], []]
    assert (calendar.country, calendar.region, calendar.closures) == ("GB", "ENG", ["2026-12-24", "2026-12-31"])
    assert {(each.name, each.by_parcel, each.trims) for each in clinics} == {
        ("Harbour Steps", False, False),
        ("Gull Lane", True, True),
    }
    assert (manager.name, manager.email, manager.roles) == ("Morwenna Pike", "morwenna@lab.example", list(Role))
    assert sorted(manager.clinics) == sorted(each.id for each in clinics)
    assert [entry.staff_id for entry in journal("lab_set_up")] == [manager.id]


def test_the_manager_can_sign_in_with_the_password_that_was_chosen(
    bare_app: FastAPI, stranger: TestClient, address: str
) -> None:
    stranger.post(address, data=FORM)
    answer = visitor(bare_app).post("/sign-in", data={"email": "morwenna@lab.example", "password": PASSWORD})
    assert answer.status_code == 303


MISTAKES = (
    ("name", "  ", "name is missing"),
    ("name", "x" * 121, "at most 120 characters; this has 121"),
    ("phone", "0" * 41, "at most 40 characters"),
    ("address", "x" * 401, "at most 400 characters"),
    ("zone", "", "Choose the time zone"),
    ("zone", "Mars/Olympus", "is not a time zone"),
    ("zone", "../../etc/passwd", "is not a time zone"),
    ("from.0", "25:00", "times read like 08:30"),
    ("from.0", "08:00+01:00", "times read like 08:30"),
    ("from.0", "<b>8</b>", "times read like 08:30"),
    ("from.0", "18:00", "follow each other"),
    ("from.0", "17:00", "follow each other"),
    ("from.0", "", "a beginning goes with an end"),
    ("country", "Utopia", "not a country whose public holidays are known"),
    ("region", "XX", "Known: ENG, NIR, SCT, WLS"),
    ("closures", "next Monday", "read like 2026-12-24"),
    ("closures", "2026-02-30", "read like 2026-12-24"),
    ("clinic.0", "x" * 121, "at most 120 characters"),
    ("clinic.1", "HARBOUR steps", "already above"),
    ("person", "", "Your name is missing"),
    ("email", "nobody", "reads like name@place.example"),
    ("email", "a b@lab.example", "reads like name@place.example"),
)


def test_what_cannot_be_comes_back_filled_with_the_sentence_at_its_field_and_the_link_still_works(
    stranger: TestClient, address: str
) -> None:
    for field, typed, sentence in MISTAKES:
        answer = stranger.post(address, data=FORM | {field: typed})
        case = f"{field} = {typed!r}"
        assert answer.status_code == 422, case
        assert sentence in answer.text, case
        weekday = re.fullmatch(r"from\.(\d)", field)
        at = {f"{name}.{weekday[1]}" for name in ("from", "pause", "again", "to")} if weekday else {field}
        page = read(answer.text)
        assert page.wrong == at, case
        kept = {name: FORM[name] for name in FORM if name in page.values and name not in (field, "password")}
        assert {name: page.values[name] for name in kept} == kept, case
    assert stranger.post(address, data=FORM).status_code == 303


def test_everything_that_is_missing_is_said_at_once(stranger: TestClient, address: str) -> None:
    answer = stranger.post(address, data={})
    assert marked(answer) >= {"name", "zone", "from.0", "clinic.0", "person", "email", "password"}


def test_the_password_is_never_shown_again(stranger: TestClient, address: str) -> None:
    answer = stranger.post(address, data=FORM | {"zone": ""})
    assert PASSWORD not in answer.text
    assert read(answer.text).values["password"] == ""


def test_a_password_made_of_the_lab_s_own_name_is_refused(stranger: TestClient, address: str) -> None:
    answer = stranger.post(address, data=FORM | {"password": "saltmarsh2026!!!"})
    assert marked(answer) == {"password"}


def test_hostile_words_come_back_as_words(stranger: TestClient, address: str) -> None:
    hostile = "\"'></textarea></title><script>alert(1)</script><img src=x onerror=alert(1)>{{ 7*7 }}"
    fields = ("name", "address", "region", "closures", "clinic.0", "person", "email")
    answer = stranger.post(address, data=FORM | dict.fromkeys(fields, hostile) | {"zone": hostile, "country": hostile})
    page = read(answer.text)
    assert page.tags.count("script") == 1  # the page's own
    assert "img" not in page.tags
    assert {name: page.values[name] for name in fields} == dict.fromkeys(fields, hostile)


def test_a_ticked_box_is_still_ticked_after_a_mistake_elsewhere(stranger: TestClient, address: str) -> None:
    ticked = read(stranger.post(address, data=FORM | {"zone": ""}).text).ticked
    assert ticked == [("stages_on", "grind"), ("parcel.1", "yes"), ("trims.1", "yes")]


def test_the_link_works_once(bare_app: FastAPI, stranger: TestClient, address: str) -> None:
    stranger.post(address, data=FORM)
    second = visitor(bare_app)
    for answer in (second.get(address), second.post(address, data=FORM)):
        assert answer.status_code == 404
        assert "This link was used or has expired." in answer.text
    assert "set-cookie" not in answer.headers


def test_of_two_who_use_the_link_at_once_one_sets_up_the_lab(
    bare_app: FastAPI, stranger: TestClient, address: str, database: Database
) -> None:
    with ThreadPoolExecutor(2) as pool:
        statuses = [pool.submit(lambda: visitor(bare_app).post(address, data=FORM).status_code) for _ in range(2)]
    assert sorted(each.result() for each in statuses) == [303, 404]
    with database.reading() as db:
        assert len(queries.staff(db)) == 1


def test_the_link_expires_after_a_week(stranger: TestClient, address: str) -> None:
    clock.set_shift(timedelta(days=7, seconds=-60))
    assert stranger.get(address).status_code == 200
    clock.set_shift(timedelta(days=7, seconds=1))
    assert stranger.get(address).status_code == 404
    assert stranger.post(address, data=FORM).status_code == 404


def test_a_later_link_takes_the_place_of_an_earlier_one(stranger: TestClient, address: str, database: Database) -> None:
    with database.writing() as db:
        later = actions.set_up_link(db)
    assert stranger.get(address).status_code == 404
    assert stranger.get(f"/set-up/{later}").status_code == 200


def test_once_the_lab_is_set_up_there_are_no_more_such_links(
    stranger: TestClient, address: str, database: Database
) -> None:
    stranger.post(address, data=FORM)
    with database.writing() as db:
        assert actions.set_up_link(db) is None


def test_a_guessed_link_is_refused(stranger: TestClient, address: str) -> None:
    for guess in ("/set-up/guess", address.replace("/set-up/", "/invitation/"), address[:-1]):
        assert stranger.get(guess).status_code == 404


def test_before_the_lab_is_set_up_the_door_says_how(stranger: TestClient) -> None:
    text = stranger.get("/sign-in").text
    assert "This lab is not set up yet" in text
    assert "password" not in read(text).values
