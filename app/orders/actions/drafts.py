"""Keeping an order that is still being typed. Nothing of it is journalled: nothing has happened yet."""

import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import delete, update
from sqlmodel import Session, col, func, select

from app import clock
from app.errors import BadInput
from app.journal import actions as journal
from app.journal.tables import Note
from app.orders.rules.drafts import KEPT, LONGEST, MOST, is_key, kept_of
from app.orders.tables import OrderDraft, Patient
from app.people.rules import Viewer
from app.trade import codes

AT_ONCE = 200
"""Drafts thrown away in one transaction: a few milliseconds."""


def keep_draft(db: Session, *, by: Viewer, key: str, clinic_id: int | None, typed: Mapping[str, Any]) -> bool:
    """Keeps a form as it stands; False if its draft was ordered or thrown away meanwhile. What is kept so already
    writes nothing."""
    if not is_key(key):
        raise _not_kept("This form can't be kept as a draft; open the order form again.")
    words = json.dumps(kept_of(typed), sort_keys=True, ensure_ascii=False)
    if len(words) > LONGEST:
        raise _not_kept(f"A draft has at most {LONGEST:,} characters; this one has {len(words):,}.")
    mine = select(OrderDraft).where(OrderDraft.staff_id == by.staff_id, OrderDraft.key == key)
    draft = db.exec(mine.with_for_update()).first()
    if draft is None:
        _begin(db, by, OrderDraft(staff_id=by.staff_id, key=key, begun_at=clock.now(), kept_at=clock.now()), words)
        draft = db.exec(mine).one()
    if draft.note_id is None:
        return False
    patient_id = _wearer(db, clinic_id, str(typed.get("label", "")))
    note = db.get_one(Note, draft.note_id)
    if (note.words, note.patient_id, draft.clinic_id) != (words, patient_id, clinic_id):
        journal.change_words(db, note.id, words, patient_id)
        draft.clinic_id, draft.kept_at = clinic_id, clock.now()
        db.flush()
    return True


def _begin(db: Session, by: Viewer, draft: OrderDraft, words: str) -> None:
    open_ones = select(func.count()).where(OrderDraft.staff_id == by.staff_id, col(OrderDraft.note_id).is_not(None))
    if db.exec(open_ones).one() >= MOST:
        raise _not_kept(f"You have {MOST} drafts; order or throw one away, then this one can be kept.")
    draft.note_id = journal.keep_words(db, words, None).id
    db.add(draft)
    db.flush()


def _not_kept(sentence: str) -> BadInput:
    """About the form as a whole, at none of its fields."""
    return BadInput(sentence, {"": sentence})


def _wearer(db: Session, clinic_id: int | None, label: str) -> int | None:
    """The wearer that the draft is about, if the clinic knows one by this label: with them the draft is erased."""
    known = select(Patient.id).where(Patient.clinic_id == clinic_id, Patient.label_key == codes.normalise(label))
    return db.exec(known).first()


def throw_draft_away(db: Session, *, by: Viewer, key: str) -> bool:
    """Ordered, or no longer wanted: its words are gone at once. False if there was none."""
    mine = (col(OrderDraft.staff_id) == by.staff_id, col(OrderDraft.key) == key, col(OrderDraft.note_id).is_not(None))
    note_id = db.execute(select(OrderDraft.note_id).where(*mine)).scalar_one_or_none()
    if note_id is None:
        return False
    db.execute(update(OrderDraft).where(*mine).values(note_id=None, kept_at=clock.now()))
    journal.drop_words(db, [note_id])
    return True


def drop_old_drafts(db: Session) -> int:
    """Throws away some of the drafts that were left for 30 days and returns how many; 0 when none is left."""
    old = select(OrderDraft.id).where(OrderDraft.kept_at < clock.now() - KEPT).limit(AT_ONCE)
    gone = delete(OrderDraft).where(col(OrderDraft.id).in_(old)).returning(col(OrderDraft.note_id))
    notes = list(db.execute(gone).scalars())
    journal.drop_words(db, [note for note in notes if note is not None])
    return len(notes)
