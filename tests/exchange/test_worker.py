"""The work that nobody asks for: one of several processes does it, what fails is told, the rest goes on."""

import threading
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from sqlmodel import Session, select

from app import outbox
from app.database import Database
from app.exchange.actions import Job, Worker, lease
from app.exchange.queries import job_runs
from app.exchange.tables import Lease

Later = Callable[..., None]
HOUR = timedelta(hours=1)


class Sweeping:
    """A job with a heap of so many rows, three of which go in a transaction; `broken` raises instead."""

    def __init__(self, name: str = "sweep", heap: int = 0) -> None:
        self.job = Job(name, HOUR, self.step)
        self.heap = heap
        self.times = 0
        self.broken: Exception | None = None

    def step(self, _db: Session) -> int:
        self.times += 1
        if self.broken:
            raise self.broken
        gone = min(self.heap, 3)
        self.heap -= gone
        return gone


def worker(database: Database, *jobs: Sweeping, handlers: dict[str, outbox.Handler] | None = None) -> Worker:
    return Worker(database, [each.job for each in jobs], handlers or {})


def test_of_two_processes_one_works(database: Database, url: str) -> None:
    there = Database(url)
    mine, theirs = Sweeping(), Sweeping()
    assert worker(database, mine).tick() == ["sweep"]
    assert worker(there, theirs).tick() == []
    assert (mine.times, theirs.times) == (1, 0)
    there.close()


def test_many_that_ask_at_the_same_moment_are_one(database: Database) -> None:
    got: list[bool] = []
    start = threading.Barrier(8)

    def ask(holder: str) -> None:
        start.wait()
        got.append(lease.hold(database, "worker", holder))

    threads = [threading.Thread(target=ask, args=(f"process {number}",)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(got) == [False] * 7 + [True]


def test_a_process_that_died_loses_its_turn_and_the_next_goes_on_from_its_timetable(
    database: Database, later: Later
) -> None:
    died, other = worker(database, Sweeping()), Sweeping()
    died.tick()
    heir = worker(database, other)
    later(seconds=lease.LENGTH.total_seconds() - 5)
    assert heir.tick() == [], "its turn is not over yet"
    later(seconds=10)
    assert heir.tick() == [], "the turn is the heir's now, but the job ran a moment ago"
    assert died.tick() == []
    later(hours=1)
    assert heir.tick() == ["sweep"]


def test_whoever_has_the_turn_keeps_it_by_working(database: Database, later: Later) -> None:
    mine, other = worker(database, Sweeping()), worker(database, Sweeping())
    mine.tick()
    for _ in range(5):
        later(minutes=1, seconds=30)
        mine.tick()
        assert other.tick() == []


def test_a_process_that_ends_leaves_its_turn_to_the_next(database: Database) -> None:
    mine, other = Sweeping("one"), Sweeping("two")
    first = worker(database, mine)
    first.start()
    until = threading.Event()
    for _ in range(200):
        if mine.times:
            break
        until.wait(0.02)
    first.stop()
    assert mine.times == 1
    with database.reading() as db:
        assert db.exec(select(Lease)).all() == []
    assert worker(database, other).tick() == ["two"]


def test_asking_who_has_the_turn_spoils_no_page_that_is_kept(database: Database) -> None:
    mine, other = worker(database, Sweeping()), worker(database, Sweeping())
    mine.tick()

    def stands_still() -> bool:
        mark = database.change_mark()
        for each in (mine, other, mine):
            each.tick()
        return database.change_mark() == mark

    # A PostgreSQL server has one mark for all of its databases: others' tests move it, too, but not always.
    assert any(stands_still() for _ in range(1 if database.sqlite else 50))


def test_a_job_is_done_once_in_its_time(database: Database, later: Later) -> None:
    sweeping = Sweeping()
    mine = worker(database, sweeping)
    assert [mine.tick(), mine.tick()] == [["sweep"], []]
    later(minutes=61)
    assert mine.tick() == ["sweep"]


def test_a_long_job_goes_in_short_transactions_to_its_end(database: Database) -> None:
    sweeping = Sweeping(heap=8)
    worker(database, sweeping).tick()
    assert (sweeping.heap, sweeping.times) == (0, 4), "three, three, two, and the look that finds nothing"
    with database.reading() as db:
        assert [(run.name, run.rows, run.fault) for run in job_runs(db)] == [("sweep", 8, None)]


def test_a_job_that_raises_is_told_and_the_others_go_on(
    database: Database, later: Later, capsys: pytest.CaptureFixture[str]
) -> None:
    broken, whole = Sweeping("a broken one"), Sweeping("a whole one")
    broken.broken = ValueError("a wearer's words")
    mine = worker(database, broken, whole)
    assert mine.tick() == ["a broken one", "a whole one"]
    assert whole.times == 1
    with database.reading() as db:
        runs = {run.name: run for run in job_runs(db)}
    failed = runs["a broken one"]
    assert (failed.ran_at, failed.failures, failed.fault) == (None, 1, "ValueError")
    said = capsys.readouterr().out
    assert "a job failed" in said
    assert "a wearer's words" not in said, "what an error says may be somebody's"
    assert mine.tick() == []
    broken.broken = None
    later(minutes=11)
    assert mine.tick() == ["a broken one"], "it is tried again before its time, the other is not"
    with database.reading() as db:
        again = {run.name: run for run in job_runs(db)}["a broken one"]
    assert (again.ran_at is not None, again.failures, again.fault) == (True, 1, None)


def test_what_a_job_did_before_it_failed_in_the_same_transaction_is_undone(database: Database) -> None:
    def step(db: Session) -> int:
        outbox.put(db, "greet", {})
        db.flush()
        raise RuntimeError

    Worker(database, [Job("half", HOUR, step)], {}).tick()
    with database.reading() as db:
        assert db.exec(select(outbox.Outbox)).all() == []


def test_what_a_change_asked_for_is_done_at_the_next_round(database: Database) -> None:
    done: list[dict[str, Any]] = []
    mine, other = (worker(database, handlers={"greet": done.append}) for _ in "ab")
    mine.tick()
    with database.writing() as db:
        outbox.put(db, "greet", {"pair": 1})
    other.tick()
    assert done == [], "it is not this one's turn"
    mine.tick()
    assert done == [{"pair": 1}]
