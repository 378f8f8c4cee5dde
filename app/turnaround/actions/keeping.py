"""Putting the stays of each month together, so that pages read them at once: read in peace, written in a moment."""

from time import monotonic

from sqlalchemy import delete, func, select
from sqlmodel import Session, col

from app import clock, outbox
from app.bench.queries.station import stay_t
from app.database import Database
from app.people import queries as people
from app.people.queries import Counted
from app.people.tables import Recount
from app.turnaround import queries
from app.turnaround.queries import months
from app.turnaround.rules.columns import LAYOUT, Columns, columns, joined, read, written
from app.turnaround.tables import MonthColumns

TOPIC = "keep_months"
STAYS = 40_000
"""In one round: about a second of reading, which keeps nobody waiting."""
SECONDS = 40
"""Well within the time for which a row of the outbox is one worker's."""


def look_at_months(db: Session) -> int:
    """Has the months put together where enough was done since; writes nothing otherwise."""
    if people.is_set_up(db) and any(queries.waits_for_columns(db, each.calendar_id) for each in _complete(db)):
        outbox.put_once(db, TOPIC)
    return 0


def keep_months(database: Database) -> None:
    """Round after round for a while, as long as it is worth it, and word to go on where there is more."""
    until = monotonic() + SECONDS
    while waiting := _waiting(database):
        if monotonic() > until:
            with database.writing() as db:
                outbox.put(db, TOPIC, {})
            return
        for counted in waiting:
            _keep(database, counted)


def _waiting(database: Database) -> list[Counted]:
    with database.reading() as db:
        return [each for each in _complete(db) if queries.waits_for_columns(db, each.calendar_id)]


def _complete(db: Session) -> list[Counted]:
    """The calendars whose stays can be followed by the number of their moves: not one that is being filled."""
    filled = {
        row.calendar_id: row.last is not None and row.upto >= row.last for row in db.execute(select(Recount)).scalars()
    }
    return [each for each in people.counting(db) if filled.get(each.calendar_id, True)]


def _keep(database: Database, counted: Counted) -> None:
    with database.reading() as db:
        known = months.known_months(db, counted.calendar_id)
        after = months.upto(known)
        upto = months.ripe_upto(db, after, _so_many(db, counted.calendar_id, after))
        found = queries.by_month(db, counted, after, upto)
        before = {month: _stored(db, counted.calendar_id, month) for month in found}
    made = {month: _grown(before[month], columns(stays)) for month, stays in found.items()}
    if not made:
        return
    with database.writing() as db:
        # Somebody else's round that came first is the one that holds.
        if months.upto(months.known_months(db, counted.calendar_id)) == after:
            _store(db, counted.calendar_id, made, upto)


def _so_many(db: Session, calendar_id: int, after: int) -> int:
    mine = (stay_t.c.calendar_id == calendar_id, stay_t.c.move_id > after)
    first = select(stay_t.c.move_id).where(*mine).order_by(stay_t.c.move_id).limit(STAYS).subquery()
    return db.execute(select(func.max(first.c.move_id))).scalar_one() or after


def _stored(db: Session, calendar_id: int, month: int) -> Columns | None:
    row = db.get(MonthColumns, (calendar_id, month))
    return read(row.columns) if row is not None and row.layout == LAYOUT else None


def _grown(before: Columns | None, more: Columns) -> Columns:
    return more if before is None else joined([before, more])


def _store(db: Session, calendar_id: int, made: dict[int, Columns], upto: int) -> None:
    mine = col(MonthColumns.calendar_id) == calendar_id
    # Those of another version of this program say nothing any more.
    db.execute(delete(MonthColumns).where(mine, col(MonthColumns.layout) != LAYOUT))
    for month, table in made.items():
        db.merge(
            MonthColumns(
                calendar_id=calendar_id,
                month=month,
                layout=LAYOUT,
                upto_move=upto,
                stays=table.stays,
                columns=written(table),
                made_at=clock.now(),
            )
        )
