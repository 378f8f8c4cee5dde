"""What was done to a pair: its history, the same for walking it again, and how long it stayed where."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import bindparam, select
from sqlmodel import Session, col

from app.bench.rules.replay import Step
from app.bench.tables import Move, Stay
from app.journal.tables import Note
from app.people import queries as people
from app.people.tables import Staff


class MoveRow(NamedTuple):
    """One line of a pair's history, newest first."""

    id: int
    act: str
    from_stage: str | None
    to_stage: str | None
    sides: str
    reason: str | None
    words: str | None
    by: str
    staff_id: int
    at: datetime
    done_at: datetime
    together: bool
    takes_back: int | None
    facts: dict[str, Any]
    version: int


move_t = Move.metadata.tables["move"]
_BESIDE = {"words": col(Note.words), "by": col(Staff.name)}
_HISTORY = (
    select(*(_BESIDE[name] if name in _BESIDE else move_t.c[name] for name in MoveRow._fields))
    .join(Staff, col(Staff.id) == move_t.c.staff_id)
    .join(Note, col(Note.id) == move_t.c.note_id, isouter=True)
    .where(move_t.c.pair_id == bindparam("the_pair"))
    .order_by(move_t.c.id.desc())
)
_LAST = _HISTORY.limit(1)
_STEPS = (
    select(*(move_t.c[name] for name in Step._fields))
    .where(move_t.c.pair_id == bindparam("the_pair"))
    .order_by(move_t.c.id)
)


def history(db: Session, pair_id: int) -> list[MoveRow]:
    return [MoveRow(*row) for row in db.execute(_HISTORY, {"the_pair": pair_id})]


def last_move(db: Session, pair_id: int) -> MoveRow | None:
    row = db.execute(_LAST, {"the_pair": pair_id}).first()
    return None if row is None else MoveRow(*row)


def steps(db: Session, pair_id: int) -> list[Step]:
    """A pair's moves from the first, for walking them again."""
    return [Step(*row) for row in db.execute(_STEPS, {"the_pair": pair_id})]


def stays(db: Session, pair_id: int) -> Sequence[Stay]:
    """In the calendar of all figures."""
    mine = (col(Stay.pair_id) == pair_id, col(Stay.calendar_id) == people.counted(db).calendar_id)
    return db.execute(select(Stay).where(*mine)).scalars().all()
