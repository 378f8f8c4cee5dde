"""What the timetable throws away, and what it must keep."""

from collections.abc import Callable

import httpx2
from fastapi.testclient import TestClient
from sqlmodel import func, select

from app import outbox
from app.bench.actions import once
from app.bench.tables import DoneKey
from app.database import Database
from app.exchange.actions import TIMETABLE, Worker
from app.outbox import Outbox
from app.people.tables import SignedIn
from tests.bench.conftest import Lab

Later = Callable[..., None]
Client = Callable[[str], TestClient]


def tick(database: Database) -> list[str]:
    return Worker(database, TIMETABLE, {}).tick()


def ask(client: TestClient, code: str, key: str) -> httpx2.Response:
    body = {"act": "ask", "from_stage": "check_in", "reason": "Which side?"}
    return client.post(f"/api/v1/pairs/{code}/acts", json=body, headers={"Idempotency-Key": key})


def test_a_key_of_thirty_one_days_is_gone_and_a_younger_one_still_answers_the_same(
    database: Database, lab: Lab, program: Client, later: Later
) -> None:
    technician, code = program("technician"), lab.order()
    first = ask(technician, code, "old")
    later(days=2)
    second = ask(technician, code, "young")
    later(days=29)
    assert "drop_old_keys" in tick(database)
    again = ask(technician, code, "young")
    assert again.json() == second.json()
    anew = ask(technician, code, "old")
    assert anew.json()["version"] == second.json()["version"] + 1, "the old key is new again"
    assert first.json()["version"] == second.json()["version"] - 1


def test_thousands_of_old_keys_all_go_and_nobody_else_s(database: Database, lab: Lab, later: Later) -> None:
    def keep(prefix: str, many: int) -> None:
        with database.writing() as db:
            for number in range(many):
                once(db, staff_id=lab.house.people["technician"], key=f"{prefix} {number}", body={}, act=dict)

    keep("old", 1201)
    later(days=31)
    keep("young", 3)
    tick(database)
    with database.reading() as db:
        assert sorted(db.exec(select(DoneKey.key)).all()) == ["young 0", "young 1", "young 2"]


def test_what_was_done_with_a_month_ago_leaves_the_outbox_and_what_waits_stays(
    database: Database, later: Later
) -> None:
    with database.writing() as db:
        for topic in ("done", "waits"):
            outbox.put(db, topic, {})
    outbox.drain(database, {"done": lambda _: None})
    later(days=31)
    with database.writing() as db:
        outbox.put(db, "done", {"young": True})
    outbox.drain(database, {"done": lambda _: None})
    tick(database)
    with database.reading() as db:
        left = db.exec(select(Outbox.topic, Outbox.done_at).order_by(Outbox.topic)).all()
    assert [(topic, done_at is None) for topic, done_at in left] == [("done", False), ("waits", True)]


def test_a_session_left_for_four_weeks_is_forgotten_and_one_in_use_is_not(
    database: Database, browser: Client, later: Later
) -> None:
    left = browser("technician")
    later(days=27)
    used = browser("clinician")
    later(days=2)
    tick(database)
    with database.reading() as db:
        assert db.exec(select(func.count()).select_from(SignedIn)).one() == 1
    later(days=-2)
    assert used.get("/").status_code == 200
    assert left.get("/").headers["location"] == "/sign-in?then=/"
