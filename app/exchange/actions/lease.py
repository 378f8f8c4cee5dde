"""A turn that one process at a time has: taken, kept by asking again, and free once its time is over."""

from datetime import timedelta

from sqlalchemy import delete, or_, select
from sqlalchemy.dialects.postgresql import insert as insert_on_postgresql
from sqlalchemy.dialects.sqlite import insert as insert_on_sqlite

from app import clock
from app.database import Database
from app.exchange.tables import Lease

LENGTH = timedelta(minutes=2)
"""How long work rests after its process has died."""
lease_t = Lease.metadata.tables["lease"]


def hold(database: Database, name: str, holder: str) -> bool:
    """Whether `holder` has the turn now. Most calls only read: a write would spoil what the pages have kept."""
    now = clock.now()
    with database.reading() as db:
        row = db.execute(select(lease_t.c.holder, lease_t.c.until).where(lease_t.c.name == name)).first()
    if row is not None and row.until > now:
        mine: bool = row.holder == holder
        if not mine or row.until - now > LENGTH / 2:
            return mine
    return _take(database, name, holder)


def _take(database: Database, name: str, holder: str) -> bool:
    now = clock.now()
    insert = insert_on_sqlite if database.sqlite else insert_on_postgresql
    wanted = insert(lease_t).values(name=name, holder=holder, until=now + LENGTH)
    # Two that ask at once: the second finds the first one's row and changes nothing.
    taken = wanted.on_conflict_do_update(
        index_elements=["name"],
        set_={"holder": wanted.excluded.holder, "until": wanted.excluded.until},
        where=or_(lease_t.c.holder == holder, lease_t.c.until <= now),
    )
    with database.writing() as db:
        return db.execute(taken.returning(lease_t.c.name)).first() is not None


def give_up(database: Database, name: str, holder: str) -> None:
    """At the end of a process: the next one need not wait."""
    with database.writing() as db:
        db.execute(delete(lease_t).where(lease_t.c.name == name, lease_t.c.holder == holder))
