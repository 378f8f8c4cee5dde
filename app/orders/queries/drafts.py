"""Reading drafts: one's own alone, and as far as one may still order for their clinic."""

import json
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, or_
from sqlmodel import Session, col, select

from app.errors import NotFound
from app.journal.tables import Note
from app.orders.tables import OrderDraft
from app.people.rules import Viewer


class DraftRow(NamedTuple):
    """A draft as it is offered."""

    key: str
    label: str
    sides: str
    kept_at: datetime


def drafts(db: Session, viewer: Viewer) -> list[DraftRow]:
    """What this person began, the last first."""
    rows = db.execute(
        select(OrderDraft.key, Note.words, OrderDraft.kept_at)
        .join(Note, col(Note.id) == col(OrderDraft.note_id))
        .where(*_own(viewer))
        .order_by(col(OrderDraft.kept_at).desc(), col(OrderDraft.id).desc())
    )
    return [_row(*row) for row in rows]


def _row(key: str, words: str, kept_at: datetime) -> DraftRow:
    typed = json.loads(words)
    return DraftRow(key, str(typed.get("label", "")), str(typed.get("sides", "")), kept_at)


def draft(db: Session, viewer: Viewer, key: str) -> dict[str, Any]:
    """The form as it was typed; NotFound when it was ordered, thrown away or erased, or is somebody else's."""
    query = select(Note.words).join(OrderDraft, col(OrderDraft.note_id) == col(Note.id))
    words = db.execute(query.where(OrderDraft.key == key, *_own(viewer))).scalar_one_or_none()
    if words is None:
        raise NotFound("There is no such draft: it was ordered, thrown away, or lay for more than 30 days.")
    typed: dict[str, Any] = json.loads(words)
    return typed


def _own(viewer: Viewer) -> tuple[ColumnElement[bool], ...]:
    """A draft for a clinic that a person has left is that clinic's wearer's, and no longer theirs to see."""
    clinic = col(OrderDraft.clinic_id)
    here = or_(clinic.is_(None), clinic.in_(viewer.clinics))
    return col(OrderDraft.staff_id) == viewer.staff_id, here, col(Note.words).is_not(None)
