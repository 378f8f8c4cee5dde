"""Writing the journal. Every change calls this in its own transaction, so both are kept or neither is."""

import hashlib
import secrets
from collections.abc import Collection
from typing import Any

from sqlalchemy import delete, update
from sqlmodel import Session, col

from app import clock
from app.journal.tables import Entry, Note


def write(
    db: Session,
    what: str,
    *,
    by: int | None,
    subject: str | None = None,
    subject_id: int | None = None,
    facts: dict[str, Any] | None = None,
    note: Note | None = None,
) -> None:
    """`facts` are ids, codes and field names; words go into `note` (see `keep_words`)."""
    digest = note.digest if note else None
    facts = dict(facts or {}) | ({"note": note.id} if note else {})
    db.add(
        Entry(
            at=clock.now(),
            staff_id=by,
            what=what,
            subject=subject,
            subject_id=subject_id,
            facts=facts,
            note_digest=digest,
        )
    )


def keep_words(db: Session, words: str, patient_id: int | None) -> Note:
    """Stores what a person typed where erasure can reach it, and gives it an id and a salted digest for the log."""
    note = Note(at=clock.now(), patient_id=patient_id, **_sealed(words))
    db.add(note)
    db.flush()
    return note


def change_words(db: Session, note_id: int, words: str, patient_id: int | None) -> None:
    """Other words in their place. Only for what no log has the digest of: a draft, which is not done yet."""
    changed = {"at": clock.now(), "patient_id": patient_id} | _sealed(words)
    db.execute(update(Note).where(col(Note.id) == note_id).values(changed))


def drop_words(db: Session, note_ids: Collection[int]) -> None:
    """Throws such words away."""
    db.execute(delete(Note).where(col(Note.id).in_(note_ids)))


def _sealed(words: str) -> dict[str, Any]:
    salt = secrets.token_hex(16)
    return {"words": words, "salt": salt, "digest": hashlib.sha256((salt + words).encode()).hexdigest()}
