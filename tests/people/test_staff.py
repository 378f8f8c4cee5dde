"""What a manager does about people who are here; what a colleague and a stranger are told who try."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError
from sqlmodel import Session, select

from app import clock
from app.database import Database
from app.people import actions, queries
from app.people.queries import StaffRow
from app.people.rules import Role, Viewer
from app.people.tables import Link
from tests.house import House
from tests.people.conftest import Browser, Journal
from tests.people.forms import read


def person(database: Database, house: House, who: str) -> StaffRow:
    with database.reading() as db:
        return queries.person(db, house.people[who])


def end(manager: TestClient, house: House, who: str, confirm: str | None = None) -> int:
    email = f"{who.replace(' ', '.')}@lab.example"
    typed = email if confirm is None else confirm
    return manager.post(f"/people/{house.people[who]}/end", data={"confirm": typed}).status_code


def change(manager: TestClient, house: House, who: str, roles: list[str], clinics: list[str] | None = None) -> int:
    ids = [str(house.clinics[key]) for key in clinics or []]
    return manager.post(f"/people/{house.people[who]}", data={"roles": roles, "clinics": ids}).status_code


def test_the_end_of_access_holds_from_the_very_next_request_in_browsers_and_programs(
    browser: Browser, program: Browser, house: House, journal: Journal
) -> None:
    manager, own, tablet, key = browser("manager"), browser("technician"), browser("technician"), program("technician")
    assert (own.get("/").status_code, key.get("/api/v1/queues").status_code) == (200, 200)
    assert end(manager, house, "technician") == 303
    assert own.get("/").headers["location"].startswith("/sign-in")
    assert tablet.post("/lab").status_code == 401
    assert key.get("/api/v1/queues").status_code == 401
    assert browser("second technician").get("/").status_code == 200
    (entry,) = journal("access_ended")
    assert (entry.staff_id, entry.subject_id) == (house.people["manager"], house.people["technician"])


def test_a_person_who_left_stays_named_where_something_was_done(browser: Browser, house: House) -> None:
    manager = browser("manager")
    end(manager, house, "technician")
    page = manager.get(f"/people/{house.people['technician']}")
    assert "does not work here any more" in page.text
    assert "confirm" not in read(page.text).values
    assert "left " in manager.get("/people").text


def test_access_is_only_ended_once_the_right_address_is_typed(
    browser: Browser, house: House, database: Database
) -> None:
    manager = browser("manager")
    for typed in ("", "technician", "second.technician@lab.example"):
        assert end(manager, house, "technician", confirm=typed) == 422
    assert person(database, house, "technician").ended_at is None


def test_access_ends_once(browser: Browser, house: House, journal: Journal) -> None:
    manager = browser("manager")
    assert end(manager, house, "technician") == 303
    assert end(manager, house, "technician") == 404
    assert change(manager, house, "technician", ["technician"]) == 404
    assert manager.post(f"/people/{house.people['technician']}/password-link").status_code == 404
    assert len(journal("access_ended")) == 1
    assert journal("staff_changed") == []


def test_the_last_manager_can_neither_be_ended_nor_lose_the_role(
    browser: Browser, house: House, database: Database
) -> None:
    manager = browser("manager")
    assert end(manager, house, "practitioner") == 303
    assert end(manager, house, "manager") == 409
    assert change(manager, house, "manager", ["technician"]) == 409
    page = manager.post(f"/people/{house.people['manager']}", data={"roles": ["technician"]})
    assert "Manager is the last manager" in page.text
    assert read(page.text).ticked == [("roles", "technician")]
    assert person(database, house, "manager").roles == ["manager"]
    assert change(manager, house, "technician", ["technician", "manager"]) == 303
    assert end(manager, house, "manager") == 303


def test_of_two_last_managers_who_end_each_other_at_once_one_stays(
    browser: Browser, house: House, database: Database
) -> None:
    first, second = browser("manager"), browser("practitioner")
    with ThreadPoolExecutor(2) as pool:
        answers = [pool.submit(end, first, house, "practitioner"), pool.submit(end, second, house, "manager")]
        statuses = {each.result() for each in answers}
    assert 303 in statuses
    assert statuses <= {303, 401, 409}
    here = [person(database, house, who) for who in ("manager", "practitioner")]
    assert len([row for row in here if row.ended_at is None]) == 1


def test_roles_and_clinics_hold_from_the_next_request(browser: Browser, program: Browser, house: House) -> None:
    manager, technician, key = browser("manager"), browser("technician"), program("technician")
    assert technician.get("/people").status_code == 403
    assert change(manager, house, "technician", ["manager"]) == 303
    assert technician.get("/people").status_code == 200
    assert change(manager, house, "technician", ["clinician"], ["house"]) == 303
    assert technician.get("/people").status_code == 403
    assert technician.get("/orders/new").status_code == 200
    trims = f'value="{house.clinics["trims"]}"'
    assert trims not in technician.get("/orders/new").text
    assert change(manager, house, "technician", ["clinician"], ["trims"]) == 303
    assert trims in technician.get("/orders/new").text
    assert key.get("/api/v1/queues").status_code == 200


def test_a_change_is_journalled_with_what_was_before(browser: Browser, house: House, journal: Journal) -> None:
    change(browser("manager"), house, "clinician", ["manager", "clinician"], ["trims", "house"])
    (entry,) = journal("staff_changed")
    assert (entry.staff_id, entry.subject_id) == (house.people["manager"], house.people["clinician"])
    before, after = [house.clinics["house"]], sorted([house.clinics["house"], house.clinics["trims"]])
    assert entry.facts == {"roles": [["clinician"], ["clinician", "manager"]], "clinics": [before, after]}


def test_changing_to_what_already_is_writes_nothing(browser: Browser, house: House, journal: Journal) -> None:
    manager = browser("manager")
    every_role, every_clinic = ["manager", "clinician", "technician"], ["quay", "house", "trims"]
    assert change(manager, house, "practitioner", every_role, every_clinic) == 303
    assert change(manager, house, "clinician", ["clinician", "clinician"], ["house", "house"]) == 303
    assert journal("staff_changed") == []


MISTAKES: tuple[tuple[dict[str, list[str]], str], ...] = (
    ({"roles": []}, "roles"),
    ({"roles": ["root"]}, "roles"),
    ({"roles": ["clinician"]}, "clinics"),
    ({"roles": ["technician"], "clinics": ["999"]}, "clinics"),
    ({"roles": ["technician"], "clinics": ["\N{SUPERSCRIPT TWO}"]}, "clinics"),
)


def test_roles_and_clinics_that_cannot_be_are_refused_at_their_field(
    browser: Browser, house: House, journal: Journal
) -> None:
    manager = browser("manager")
    for typed, at in MISTAKES:
        answer = manager.post(f"/people/{house.people['technician']}", data=typed)
        assert answer.status_code == 422, typed
        assert read(answer.text).wrong == {at}, typed
    assert journal("staff_changed") == []


def test_nobody_is_found_at_an_address_nobody_has(browser: Browser) -> None:
    manager = browser("manager")
    for address in ("/people/999", f"/people/{'9' * 40}", "/people/0"):
        assert manager.get(address).status_code == 404
        assert manager.post(address, data={"roles": ["technician"]}).status_code == 404
    assert manager.get("/people/somebody").status_code == 404


@pytest.mark.parametrize("who", ["technician", "clinician"])
def test_a_colleague_who_is_no_manager_changes_nobody(
    browser: Browser, house: House, database: Database, who: str
) -> None:
    colleague = browser(who)
    before = person(database, house, who)
    assert change(colleague, house, who, ["manager"]) == 403
    assert end(colleague, house, "second technician") == 403
    assert colleague.post(f"/people/{house.people['manager']}/password-link").status_code == 403
    friend = {"name": "Friend", "email": "friend@lab.example", "roles": "manager"}
    assert colleague.post("/people/invite", data=friend).status_code == 403
    assert person(database, house, who) == before


def test_a_stranger_is_asked_to_sign_in(stranger: TestClient, house: House) -> None:
    assert stranger.get("/people").headers["location"] == "/sign-in?then=/people"
    assert end(stranger, house, "technician") == 401


ACTS: dict[str, Callable[[Session, Viewer, int], object]] = {
    "end": lambda db, by, who: actions.end_access(db, by=by, staff_id=who),
    "change": lambda db, by, who: actions.change_staff(db, by=by, staff_id=who, roles=["manager"], clinics=[]),
    "password link": lambda db, by, who: actions.password_link(db, by=by, staff_id=who),
}


@pytest.mark.parametrize("act", ACTS)
def test_what_cannot_be_journalled_is_not_done(database: Database, house: House, act: str) -> None:
    before = person(database, house, "technician")
    with database.writing() as db:
        db.execute(text("DROP TABLE entry"))
    with pytest.raises(DBAPIError), database.writing() as db:
        ACTS[act](db, house.viewer("manager"), house.people["technician"])
    assert person(database, house, "technician") == before
    with database.reading() as db:
        assert db.exec(select(Link)).all() == []


def test_at_another_clinic_a_clinician_is_none_but_keeps_the_other_roles() -> None:
    viewer = Viewer(1, "Denzil Thorn", frozenset({Role.CLINICIAN, Role.TECHNICIAN}), frozenset({7}), "UTC")
    assert viewer.at(7) is viewer
    assert viewer.at(8).roles == {Role.TECHNICIAN}


def test_the_page_says_since_when_people_are_here_in_the_lab_s_own_days(browser: Browser, house: House) -> None:
    manager = browser("manager")
    day = clock.today(house.zone)
    assert f"here since {day:%a} {day.day} {day:%b}" in manager.get(f"/people/{house.people['technician']}").text
    clock.set_shift(timedelta(days=400))
    later = browser("manager").get(f"/people/{house.people['technician']}").text
    assert f"{day:%b} {day.year}" in later
