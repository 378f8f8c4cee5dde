"""Counting every stay anew after the lab's hours were changed: some pairs at a time, while the benches work on.

What ends meanwhile is counted in both calendars by the act that ends it (app/bench/actions/moving.py); what is counted
here is all that had ended before. Figures are of the old hours until `end` switches the one pointer.
"""

from datetime import timedelta

from sqlalchemy import delete, func, insert, select
from sqlmodel import Session, col

from app import clock
from app.bench.queries import pair_t
from app.bench.rules import record
from app.bench.tables import Stay
from app.people import queries as people
from app.people.queries import Counted
from app.people.tables import Calendar, Lab, Recount
from app.turnaround import queries
from app.turnaround.tables import MonthColumns

PAIRS = 100
"""In one transaction: on SQLite whoever writes keeps every bench waiting, for some 50 ms here."""
STAYS = 2000
SETTLES = timedelta(seconds=20)
"""After the change. An act that began before it may still write a stay in the old hours alone."""
stay_t = Stay.metadata.tables["stay"]


def count_anew(db: Session) -> int:
    """One step; returns how many rows it changed, 0 when there is nothing to do at present."""
    if not people.is_set_up(db):
        return 0
    row = db.execute(select(Recount).with_for_update()).scalar_one_or_none()
    if row is None:
        return _drop_others(db, people.counted(db).calendar_id)
    if clock.now() - row.asked_at < SETTLES:
        return 0
    if row.last is None:
        row.last = db.execute(select(func.max(pair_t.c.id))).scalar_one() or 0
    pairs = _following(db, row)
    if pairs:
        _count(db, pairs, _hours(db, row))
        row.upto = pairs[-1]
        return len(pairs)
    row.upto = row.last
    # Or every page would read all of the new stays one by one until somebody had put them together.
    return 0 if queries.waits_for_columns(db, row.calendar_id) else _end(db, row)


def _hours(db: Session, row: Recount) -> Counted:
    """Those in force: a later change would have taken the row away."""
    return Counted(row.calendar_id, people.work_calendar(db))


def _following(db: Session, row: Recount) -> list[int]:
    """The next pairs, locked in the order of their codes, as acts on several pairs lock them."""
    ahead = select(pair_t.c.id).where(pair_t.c.id > row.upto, pair_t.c.id <= row.last)
    pairs = list(db.execute(ahead.order_by(pair_t.c.id).limit(PAIRS)).scalars())
    if pairs:
        mine = select(pair_t.c.id).where(pair_t.c.id.in_(pairs)).order_by(pair_t.c.code)
        db.execute(mine.with_for_update()).all()
    return pairs


def _count(db: Session, pairs: list[int], hours: Counted) -> None:
    """Every stay of these pairs that the calendar lacks, from whichever calendar has it."""
    rows = db.execute(select(*stay_t.c).where(stay_t.c.pair_id.in_(pairs))).all()
    there = {(row.move_id, row.side) for row in rows if row.calendar_id == hours.calendar_id}
    lacking = {(row.move_id, row.side): row for row in rows if (row.move_id, row.side) not in there}
    stays = [
        stay
        for row in lacking.values()
        for stay in record.stay_rows(
            row.pair_id, row.move_id, {row.side: row.stage}, {row.side: row.entered_at}, row.left_at, *hours
        )
    ]
    if stays:
        db.execute(insert(stay_t), stays)


def _end(db: Session, row: Recount) -> int:
    """From here on every figure is of the new hours."""
    db.get_one(Lab, 1, with_for_update=True).counted_in = None
    db.delete(row)
    return 1


def _drop_others(db: Session, kept: int) -> int:
    """Some of what was counted in hours that no figure is of any more."""
    for calendar_id in db.execute(select(col(Calendar.id)).where(col(Calendar.id) != kept)).scalars():
        mine = stay_t.c.calendar_id == calendar_id
        first = select(stay_t.c.move_id).where(mine).order_by(stay_t.c.move_id).limit(STAYS).subquery()
        upto = db.execute(select(func.max(first.c.move_id))).scalar_one()
        if upto is not None:
            gone = delete(stay_t).where(mine, stay_t.c.move_id <= upto).returning(stay_t.c.move_id)
            return len(db.execute(gone).all())
        months = delete(MonthColumns).where(col(MonthColumns.calendar_id) == calendar_id)
        db.execute(months)
    return 0
