"""What was done to a pair: its history, the same for walking it again, and how long it stayed where."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import select
from sqlmodel import Session, col

from app.bench.rules.replay import Step
from app.bench.tables import Move, Stay
from app.journal.tables import Note
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


def history(db: Session, pair_id: int) -> list[MoveRow]:
    rows = db.execute(
        select(
            col(Move.id),
            col(Move.act),
            col(Move.from_stage),
            col(Move.to_stage),
            col(Move.sides),
            col(Move.reason),
            col(Note.words),
            col(Staff.name),
            col(Move.staff_id),
            col(Move.at),
            col(Move.done_at),
            col(Move.together),
            col(Move.takes_back),
            col(Move.facts),
            col(Move.version),
        )
        .join(Staff, col(Staff.id) == col(Move.staff_id))
        .join(Note, col(Note.id) == col(Move.note_id), isouter=True)
        .where(col(Move.pair_id) == pair_id)
        .order_by(col(Move.id).desc())
    )
    return [MoveRow(*row) for row in rows]


def steps(db: Session, pair_id: int) -> list[Step]:
    """A pair's moves from the first, for walking them again."""
    rows = db.execute(
        select(
            col(Move.id),
            col(Move.act),
            col(Move.from_stage),
            col(Move.to_stage),
            col(Move.sides),
            col(Move.done_at),
            col(Move.takes_back),
            col(Move.facts),
        )
        .where(col(Move.pair_id) == pair_id)
        .order_by(col(Move.id))
    )
    return [Step(*row) for row in rows]


def last_move(db: Session, pair_id: int) -> MoveRow | None:
    rows = history(db, pair_id)
    return rows[0] if rows else None


def stays(db: Session, pair_id: int) -> Sequence[Stay]:
    return db.execute(select(Stay).where(col(Stay.pair_id) == pair_id)).scalars().all()
