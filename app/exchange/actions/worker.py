"""The thread beside the server that drains the outbox and keeps the timetable; of several processes one does it."""

import secrets
import threading
import traceback
from collections.abc import Mapping, Sequence
from datetime import timedelta

import structlog
from sqlalchemy import select, update
from sqlalchemy.dialects.postgresql import insert as insert_on_postgresql
from sqlalchemy.dialects.sqlite import insert as insert_on_sqlite

from app import clock, outbox
from app.database import Database
from app.exchange.actions import lease
from app.exchange.actions.timetable import Job
from app.exchange.queries import WORKER
from app.exchange.tables import JobRun
from app.outbox import Handler

EVERY_SECONDS = 5.0
PAUSE_SECONDS = 0.02
"""Between two transactions of a job: SQLite gives its lock to whoever asks next, not to who waited longest."""
AGAIN = timedelta(minutes=10)
"""After this a job that failed is tried again, however seldom it runs."""
run_t = JobRun.metadata.tables["job_run"]
log = structlog.get_logger()


class Worker:
    """`tick` is one round, for tests and for the thread that `start` begins and `stop` ends."""

    def __init__(
        self, database: Database, jobs: Sequence[Job], handlers: Mapping[str, Handler], turn: str = WORKER
    ) -> None:
        self.database = database
        self.turn = turn
        self.jobs = jobs
        self.handlers = handlers
        self.name = secrets.token_hex(8)
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._go_on, name=turn, daemon=True)

    def tick(self) -> list[str]:
        """Does what is due, if this process has the turn; returns the names of the jobs that were tried."""
        if self.handlers and self._has_turn():
            outbox.drain(self.database, self.handlers, may_go_on=self._has_turn)
        tried = []
        for job in self._due() if self._has_turn() else []:
            self._do(job)
            tried.append(job.name)
        return tried

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """Waits for the transaction that is under way, and leaves the turn to others."""
        self._ended.set()
        self._thread.join()
        lease.give_up(self.database, self.turn, self.name)

    def _go_on(self) -> None:
        while not self._ended.is_set():
            try:
                self.tick()
            except Exception as failure:  # the database may be away for a while
                _report("the worker failed", failure)
            self._ended.wait(EVERY_SECONDS)

    def _has_turn(self) -> bool:
        return not self._ended.is_set() and lease.hold(self.database, self.turn, self.name)

    def _due(self) -> list[Job]:
        with self.database.reading() as db:
            last = {row.name: row for row in db.execute(select(run_t.c.name, run_t.c.tried_at, run_t.c.fault))}
        now = clock.now()

        def due(job: Job) -> bool:
            run = last.get(job.name)
            return run is None or now - run.tried_at >= (min(job.every, AGAIN) if run.fault else job.every)

        return [job for job in self.jobs if due(job)]

    def _do(self, job: Job) -> None:
        """Runs it to its end and notes how it went; whatever it raises, the others go on."""
        try:
            rows = self._steps(job)
        except Exception as failure:
            _report("a job failed", failure, job=job.name)
            self._note(job, fault=type(failure).__name__)
            return
        if rows is not None:
            self._note(job, rows=rows)
        if rows:
            log.info("a job is done", job=job.name, rows=rows)

    def _steps(self, job: Job) -> int | None:
        """Rows that were changed; None if the turn was over before the work was: whoever has it goes on."""
        rows = 0
        while self._has_turn():
            with self.database.writing() as db:
                done = job.step(db)
            if not done:
                return rows
            rows += done
            self._ended.wait(PAUSE_SECONDS)
        return None

    def _note(self, job: Job, rows: int = 0, fault: str | None = None) -> None:
        now = clock.now()
        insert = insert_on_sqlite if self.database.sqlite else insert_on_postgresql
        with self.database.writing() as db:
            db.execute(insert(run_t).values(name=job.name, tried_at=now, rows=0, failures=0).on_conflict_do_nothing())
            told = {"ran_at": now, "rows": rows} if fault is None else {"failures": run_t.c.failures + 1}
            db.execute(update(run_t).where(run_t.c.name == job.name).values(tried_at=now, fault=fault, **told))


def _report(words: str, failure: Exception, **facts: str) -> None:
    """The class and the lines of code alone: what an error says may be a person's words."""
    frames = "".join(traceback.format_tb(failure.__traceback__))
    log.error(words, kind=type(failure).__name__, frames=frames, **facts)
