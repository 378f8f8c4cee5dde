"""What the lab waits for from the clinics: open questions, and pairs that come later than they were wanted."""

from collections.abc import Collection
from datetime import date, datetime
from typing import NamedTuple

from sqlalchemy import func, or_, select
from sqlmodel import Session, col

from app.bench.queries.pairs import hold_t, pair_t
from app.bench.queries.photos import photo_t
from app.bench.tables import Move
from app.journal.tables import Note
from app.people.tables import Staff


class Question(NamedTuple):
    code: str
    label: str
    stage: str
    words: str | None
    kind: str
    reason: str | None
    before: str | None
    since: datetime
    by: str
    photos: int


def questions(db: Session, clinics: Collection[int], most: int = 20) -> list[Question]:
    """What is open on pairs of these clinics and waits on the clinic, the oldest first."""
    its_own = (photo_t.c.pair_id == hold_t.c.pair_id, photo_t.c.move_id == hold_t.c.id)
    photos = select(func.count()).select_from(photo_t).where(*its_own).scalar_subquery()
    rows = db.execute(
        select(
            pair_t.c.code,
            pair_t.c.label,
            pair_t.c.stage,
            col(Note.words),
            hold_t.c.kind,
            hold_t.c.reason,
            hold_t.c.before,
            hold_t.c.opened_at,
            col(Staff.name),
            photos,
        )
        .join(pair_t, pair_t.c.id == hold_t.c.pair_id)
        .join(Move, col(Move.id) == hold_t.c.id)
        .join(Staff, col(Staff.id) == col(Move.staff_id))
        .join(Note, col(Note.id) == hold_t.c.note_id, isouter=True)
        .where(
            pair_t.c.stage.is_not(None),
            pair_t.c.clinic_id.in_(list(clinics)),
            pair_t.c.open_holds > 0,
            hold_t.c.closed_by.is_(None),
            hold_t.c.waiting_on == "clinic",
        )
        .order_by(hold_t.c.id)
        .limit(most)
    )
    return [Question(*row) for row in rows]


class Late(NamedTuple):
    code: str
    label: str
    stage: str
    wanted_on: date | None
    promised_on: date


def late(db: Session, clinics: Collection[int], today: date, most: int = 20) -> list[Late]:
    """Pairs of these clinics that are not there yet and whose day is over, or later than it was wanted."""
    after_wanted = pair_t.c.promised_on > pair_t.c.wanted_on
    rows = db.execute(
        select(*(pair_t.c[name] for name in Late._fields))
        .where(
            pair_t.c.clinic_id.in_(list(clinics)),
            pair_t.c.stage.is_not(None),
            pair_t.c.stage.not_in(("dispense", "wear_in")),
            or_(pair_t.c.promised_on < today, after_wanted),
        )
        .order_by(pair_t.c.promised_on, pair_t.c.id)
        .limit(most)
    )
    return [Late(*row) for row in rows]


class Arrived(NamedTuple):
    code: str
    label: str
    stage: str
    since: datetime


def arrived(db: Session, clinics: Collection[int], since: datetime, most: int = 20) -> list[Arrived]:
    """Pairs that have come to these clinics since then, ready to be trimmed or dispensed, the latest first."""
    rows = db.execute(
        select(*(pair_t.c[name] for name in Arrived._fields))
        .where(
            pair_t.c.clinic_id.in_(list(clinics)),
            pair_t.c.stage.in_(("trim", "dispense")),
            pair_t.c.place == "clinic",
            pair_t.c.since >= since,
        )
        .order_by(pair_t.c.since.desc(), pair_t.c.id)
        .limit(most)
    )
    return [Arrived(*row) for row in rows]
