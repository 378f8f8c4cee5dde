"""The journal's entries, and the words of a patient that entries and moves point at."""

from datetime import datetime
from typing import Any

from sqlalchemy import JSON, Index
from sqlmodel import Field, SQLModel

from app.database import APPEND_ONLY


class Entry(SQLModel, table=True):
    """Everything of consequence that is not a move. Holds ids, codes and field names, never words."""

    __table_args__ = (
        # The journal page of one subject, newest first.
        Index("ix_entry_subject_subject_id_id", "subject", "subject_id", "id"),
        # "What did this person do?", newest first; and "did they read this patient in this hour?"
        Index("ix_entry_staff_id_id", "staff_id", "id"),
        # "Who was refused?", any one kind, newest first.
        Index("ix_entry_what_id", "what", "id"),
        # The first and the last entry of some days.
        Index("ix_entry_at", "at"),
        {"info": APPEND_ONLY, "sqlite_autoincrement": True},
    )

    id: int = Field(default=None, primary_key=True)
    at: datetime
    staff_id: int | None = None
    """Plain value: the journal stands below the room of people."""
    what: str
    subject: str | None = None
    subject_id: int | None = None
    facts: dict[str, Any] = Field(sa_type=JSON)
    note_digest: str | None = None


class Note(SQLModel, table=True):
    """Words that a person typed. Erasure blanks `words`; the salted digest in the log then proves nothing more."""

    id: int = Field(default=None, primary_key=True)
    at: datetime
    patient_id: int | None = Field(default=None, index=True)
    words: str | None
    salt: str
    digest: str
