"""Whose turn it is among several server processes, and when each job of the timetable last ran."""

from datetime import datetime

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
