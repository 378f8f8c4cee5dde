"""How the work that nobody asks for stands: the timetable's runs and the outbox."""

from datetime import datetime
from typing import NamedTuple

from sqlalchemy import func, select
from sqlmodel import Session, col

from app import clock
from app.exchange.tables import JobRun, Lease
from app.outbox import Outbox

WORKER = "worker"
"""The turn of whoever drains the outbox and keeps the timetable; mails have a turn of their own."""
run_t = JobRun.metadata.tables["job_run"]


class Run(NamedTuple):
    """See JobRun."""

    name: str
    tried_at: datetime
    ran_at: datetime | None
    rows: int
    failures: int
    fault: str | None


_RUNS = select(*(run_t.c[name] for name in Run._fields)).order_by(run_t.c.name)


def job_runs(db: Session) -> list[Run]:
    return [Run(*row) for row in db.execute(_RUNS)]


class Waiting(NamedTuple):
    """Rows of the outbox: due by now, failed and to be tried again, given up after all tries."""

    due: int
    failing: int
    given_up: int


def outbox_rows(db: Session) -> Waiting:
    failed = col(Outbox.failed).is_not(None)
    waits = col(Outbox.done_at).is_(None)
    due = db.execute(select(func.count()).where(waits, col(Outbox.due_at) <= clock.now())).scalar_one()
    failing = db.execute(select(func.count()).where(failed, waits)).scalar_one()
    given_up = db.execute(select(func.count()).where(failed, col(Outbox.done_at).is_not(None))).scalar_one()
    return Waiting(due, failing, given_up)


def somebody_works(db: Session) -> bool:
    """Whether a worker of any process has the turn; without one the outbox and the timetable stand still."""
    return (
        db.execute(select(col(Lease.name)).where(col(Lease.name) == WORKER, col(Lease.until) > clock.now())).first()
        is not None
    )
