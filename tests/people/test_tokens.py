"""A person's API tokens: seen by a manager without being given away, and ended one by one."""

from datetime import timedelta

from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from app import clock
from app.database import Database
from app.people import actions
from app.people.rules import hash_of, token_mark
from app.people.tables import ApiToken
from tests.house import House
from tests.people.conftest import Browser, Journal, visitor
from tests.people.forms import read


def make(database: Database, name: str = "", who: str = "technician") -> str:
    with database.writing() as db:
        return actions.make_token(db, email=f"{who}@lab.example", name=name)


def call(app: FastAPI, token: str) -> int:
    headers = {"authorization": f"Bearer {token}"}
    return visitor(app).get("/api/v1/queues", headers=headers).status_code


def shown(manager: TestClient, house: House, who: str = "technician") -> str:
    return manager.get(f"/people/{house.people[who]}").text


def used(database: Database) -> list[object]:
    with database.reading() as db:
        return list(db.exec(select(ApiToken.used_at)))


def test_the_page_tells_name_making_and_last_use_and_never_the_token(
    app: FastAPI, browser: Browser, house: House, database: Database
) -> None:
    manager = browser("manager")
    assert "None yet" in shown(manager, house)
    token = make(database, "bench display")
    page = shown(manager, house)
    assert "bench display" in page
    assert "never used" in page
    assert token not in page
    assert hash_of(token) not in page
    assert call(app, token) == 200
    assert "last used" in shown(manager, house)


def test_use_is_written_down_once_a_day_at_most(app: FastAPI, database: Database, house: House) -> None:
    token = make(database)
    assert used(database) == [None]
    call(app, token)
    (first,) = used(database)
    assert first is not None
    clock.set_shift(timedelta(hours=20))
    call(app, token)
    assert used(database) == [first]
    clock.set_shift(timedelta(hours=25))
    call(app, token)
    assert used(database) != [first]


def test_one_token_is_ended_at_once_and_the_others_go_on(
    app: FastAPI, browser: Browser, house: House, database: Database, journal: Journal
) -> None:
    ended, kept = make(database, "old tablet"), make(database, "bench display")
    manager, technician = browser("manager"), house.people["technician"]
    mark = token_mark(hash_of(ended))
    assert ("token", mark) in read(shown(manager, house)).hidden
    assert (call(app, ended), call(app, kept)) == (200, 200)
    assert manager.post(f"/people/{technician}/tokens", data={"token": mark}).status_code == 303
    assert (call(app, ended), call(app, kept)) == (401, 200)
    assert "The token old tablet is ended" in (page := shown(manager, house))
    assert mark not in page
    (entry,) = journal("token_ended")
    assert (entry.staff_id, entry.subject_id, entry.facts) == (house.people["manager"], technician, {"token": mark})


def test_a_token_of_someone_else_an_ended_one_and_none_at_all_are_not_found(
    browser: Browser, house: House, database: Database, journal: Journal
) -> None:
    mark = token_mark(hash_of(make(database)))
    manager = browser("manager")
    assert manager.post(f"/people/{house.people['clinician']}/tokens", data={"token": mark}).status_code == 404
    assert manager.post(f"/people/{house.people['technician']}/tokens", data={}).status_code == 404
    mine = f"/people/{house.people['technician']}/tokens"
    assert [manager.post(mine, data={"token": mark}).status_code for _ in range(2)] == [303, 404]
    assert browser("technician").post(mine, data={"token": mark}).status_code == 403
    assert len(journal("token_ended")) == 1
