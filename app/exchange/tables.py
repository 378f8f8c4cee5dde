"""Whose turn it is among several server processes, when each job of the timetable last ran, and mails to people."""

from datetime import datetime

from sqlalchemy import Index, UniqueConstraint
from sqlmodel import Field, SQLModel


class Lease(SQLModel, table=True):
    """Something that one process at a time may do, until a moment; then whoever asks first has it."""

    name: str = Field(primary_key=True)
    holder: str
    """One process's name for itself, made anew at each start."""
    until: datetime


class JobRun(SQLModel, table=True):
    """How it stands with one job of the timetable; a new holder of the lease goes on from here."""

    __tablename__ = "job_run"

    name: str = Field(primary_key=True)
    tried_at: datetime
    ran_at: datetime | None = None
    """When it last ran to its end."""
    rows: int = 0
    """Rows that its last whole run changed."""
    failures: int = 0
    """All of them, ever."""
    fault: str | None = None
    """The class of the error of its last run; empty when that went well. What an error says may be a person's."""


class Letter(SQLModel, table=True):
    """A mail to one person about one thing: it comes about once, however often the thing is noticed."""

    __table_args__ = (
        UniqueConstraint("staff_id", "subject", "about"),
        # What was written long ago is thrown away.
        Index("ix_letter_made_at", "made_at"),
    )

    id: int = Field(default=None, primary_key=True)
    staff_id: int = Field(foreign_key="staff.id")
    subject: str
    """A key of SUBJECTS (app/people/rules.py)."""
    about: str
    """Which pair and which occasion (see News in queries), or the digest's day."""
    pair_id: int | None = Field(default=None, foreign_key="pair.id")
    key: str
    """The mail's own name, by which a second copy after a lost answer is known to be one."""
    made_at: datetime
    state: str = "waiting"
    """waiting, sent, failed, or void: nothing was there to be told any more."""
    ended_at: datetime | None = None
