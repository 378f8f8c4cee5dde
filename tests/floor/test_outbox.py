"""What is to be done after a change: done once it is safe, never when it was rolled back, again when it failed."""

from datetime import timedelta
from typing import Any

import pytest
from sqlmodel import select

from app import clock, outbox
from app.database import Database
from app.outbox import Outbox


def put(database: Database, **facts: Any) -> None:
    with database.writing() as db:
        outbox.put(db, "greet", facts)


def test_what_was_put_is_done_once(database: Database) -> None:
    done: list[dict[str, Any]] = []
    put(database, pair=1)
    assert outbox.drain(database, {"greet": done.append}) == 1
    assert outbox.drain(database, {"greet": done.append}) == 0
    assert done == [{"pair": 1}]


def test_a_change_that_was_rolled_back_sends_nothing(database: Database) -> None:
    done: list[dict[str, Any]] = []
    with pytest.raises(RuntimeError, match="no"), database.writing() as db:
        outbox.put(db, "greet", {})
        raise RuntimeError("no")
    outbox.drain(database, {"greet": done.append})
    assert done == []


def test_a_failure_is_tried_again_later(database: Database) -> None:
    seen: list[int] = []

    def flaky(_facts: dict[str, Any]) -> None:
        seen.append(1)
        if len(seen) == 1:
            raise ConnectionError("the post is closed")

    put(database)
    assert outbox.drain(database, {"greet": flaky}) == 0
    assert outbox.drain(database, {"greet": flaky}) == 0, "not at once"
    clock.set_shift(timedelta(minutes=1))
    assert outbox.drain(database, {"greet": flaky}) == 1


def test_a_worker_that_died_loses_its_claim_after_the_lease(database: Database) -> None:
    done: list[dict[str, Any]] = []
    put(database)
    assert outbox._claim(database, ["greet"]) is not None
    assert outbox.drain(database, {"greet": done.append}) == 0
    clock.set_shift(outbox.LEASE + timedelta(seconds=1))
    assert outbox.drain(database, {"greet": done.append}) == 1


def test_a_topic_nobody_handles_here_waits(database: Database) -> None:
    put(database)
    assert outbox.drain(database, {"other": lambda _: None}) == 0
    with database.reading() as db:
        assert db.exec(select(Outbox.done_at)).one() is None
