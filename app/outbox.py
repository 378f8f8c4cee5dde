"""What is to be done after a change is safe: rows written in the change's own transaction, done later by a worker.

The floor only stores and hands out; what a topic means is known to app/exchange, which brings the handlers.
"""

import secrets
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import JSON, Index, delete, text, update
from sqlmodel import Field, Session, SQLModel, col, select

from app import clock
from app.database import Database

LEASE = timedelta(minutes=2)
RETRIES = 34
"""Tries over a little more than a day: each waits twice as long as the one before, at most an hour."""
KEPT = timedelta(days=30)
"""How long it can be looked up what was done, or given up."""
Handler = Callable[[dict[str, Any]], None]


class Outbox(SQLModel, table=True):
    # The worker's question, every second: what is due? Done rows are not in the index.
    __table_args__ = (
        Index(
            "ix_outbox_due",
            "due_at",
            sqlite_where=text("done_at IS NULL"),
            postgresql_where=text("done_at IS NULL"),
        ),
        # "What has failed?" at each look at the metrics.
        Index(
            "ix_outbox_failed",
            "done_at",
            sqlite_where=text("failed IS NOT NULL"),
            postgresql_where=text("failed IS NOT NULL"),
        ),
    )

    id: int = Field(default=None, primary_key=True)
    topic: str
    facts: dict[str, Any] = Field(sa_type=JSON)
    due_at: datetime
    lease: str | None = None
    tries: int = 0
    done_at: datetime | None = None
    failed: str | None = None


def put(db: Session, topic: str, facts: dict[str, Any], due_at: datetime | None = None) -> None:
    """To be called inside the change: rolled back with it, sent only if it is kept."""
    db.add(Outbox(topic=topic, facts=facts, due_at=due_at or clock.now()))


def put_once(db: Session, topic: str) -> None:
    """The same for what is a look at everything: unless such a row waits already."""
    waits = select(Outbox.id).where(Outbox.topic == topic, col(Outbox.done_at).is_(None))
    if db.exec(waits.limit(1)).first() is None:
        put(db, topic, {})


def drain(
    database: Database,
    handlers: Mapping[str, Handler],
    most: int = 100,
    may_go_on: Callable[[], bool] = lambda: True,
) -> int:
    """Does what is due, each row in a claim of its own, and returns how many were done.

    A handler that raises is tried again, later each time; a worker that dies loses its lease after two minutes.
    """
    done = 0
    for _ in range(most):
        if not may_go_on():
            break
        row = _claim(database, list(handlers))
        if row is None:
            break
        row_id, topic, facts, tries, lease = row
        try:
            handlers[topic](facts)
        except Exception as failure:
            _finish(database, row_id, lease, failed=repr(failure), tries=tries)
        else:
            _finish(database, row_id, lease)
            done += 1
    return done


def _claim(database: Database, topics: list[str]) -> tuple[int, str, dict[str, Any], int, str] | None:
    now, lease = clock.now(), secrets.token_hex(8)
    with database.writing() as db:
        due = (
            select(Outbox.id)
            .where(col(Outbox.done_at).is_(None), col(Outbox.due_at) <= now, col(Outbox.topic).in_(topics))
            .order_by(col(Outbox.due_at))
            .limit(1)
            .with_for_update(skip_locked=True)
        )
        claim = (
            update(Outbox)
            .where(col(Outbox.id) == due.scalar_subquery())
            .values(lease=lease, due_at=now + LEASE, tries=col(Outbox.tries) + 1)
            .returning(col(Outbox.id), col(Outbox.topic), col(Outbox.facts), col(Outbox.tries))
        )
        row = db.execute(claim).first()
    return None if row is None else (row[0], row[1], row[2], row[3], lease)


def _finish(database: Database, row_id: int, lease: str, failed: str | None = None, tries: int = 0) -> None:
    now = clock.now()
    gone = failed is None or tries >= RETRIES
    later = now + timedelta(seconds=min(3600, 5 * 2**tries))
    with database.writing() as db:
        # Only the holder of the lease may close the row: a slow worker must not undo a faster one's retry.
        db.execute(
            update(Outbox)
            .where(col(Outbox.id) == row_id, col(Outbox.lease) == lease)
            .values(done_at=now if gone else None, failed=failed, due_at=later, lease=None)
        )


def drop_old(db: Session, most: int = 500) -> int:
    """Deletes at most `most` rows that were done with 30 days ago, and returns how many; 0 when none is left."""
    old = select(Outbox.id).where(col(Outbox.done_at) < clock.now() - KEPT).limit(most)
    gone = delete(Outbox).where(col(Outbox.id).in_(old)).returning(col(Outbox.id))
    return len(db.execute(gone).all())
