"""Pairs and where they stand, their visits and moves, why they stand still."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import JSON, Index, UniqueConstraint, text
from sqlmodel import Field, SQLModel

from app.database import APPEND_ONLY

_OPEN = text("stage IS NOT NULL")
COMES_BACK = text("act IN ('adjust', 'dispense', 'no_show', 'remake', 'send_back', 'take_back')")
"""What a lab asks for by time: handed over, and what went wrong. A query finds the index by these very words."""


class Pair(SQLModel, table=True):
    """One row a pair, wide enough that a queue needs no other table."""

    __table_args__ = (
        # A queue in the order to work: appointment or promised day, then age; counted without what is still setting.
        Index(
            "ix_pair_queue", "stage", "due_on", "since", "id", "not_before", sqlite_where=_OPEN, postgresql_where=_OPEN
        ),
        # The same for one clinic's clinicians, and "what is open at this clinic?"
        Index(
            "ix_pair_clinic_queue",
            "clinic_id",
            "stage",
            "due_on",
            "since",
            "id",
            "not_before",
            sqlite_where=_OPEN,
            postgresql_where=_OPEN,
        ),
    )

    id: int = Field(default=None, primary_key=True)
    code: str = Field(unique=True)
    order_id: int = Field(foreign_key="orders.id", index=True)
    clinic_id: int = Field(foreign_key="clinic.id")
    label: str
    """The chart label, copied so that the bench's lists need no patient."""
    all_sides: str
    left_stage: str | None = None
    right_stage: str | None = None
    left_since: datetime | None = None
    right_since: datetime | None = None
    stage: str | None = None
    """The earliest stage at which a side still has work; empty once the pair has ended."""
    since: datetime
    place: str
    visit_id: int | None = Field(default=None)
    reason: str = "new"
    """The visit's reason."""
    end: str | None = None
    version: int = 0
    open_holds: int = 0
    """What is open on it, whether it stops it where it is or later."""
    parked_on: str | None = None
    parked_why: str | None = None
    parked_since: datetime | None = None
    started_by: int | None = Field(default=None, foreign_key="staff.id")
    needs: list[str] = Field(default_factory=list, sa_type=JSON)
    """What the bench needs for the present stage, made anew by every move and prescription."""
    wanted_on: date | None = None
    promised_on: date | None = None
    fitting_at: datetime | None = None
    due_on: date = date(9999, 12, 31)
    """What the queue is worked by: the day of the appointment, else the promised, else the wanted day.

    While the pair is worn in, its review's.
    """
    not_before: datetime | None = None
    """Until when plaster sets or glue cures at the present stage."""
    rush: bool = False
    tray: int | None = None
    replaces_id: int | None = Field(default=None, foreign_key="pair.id")


class Visit(SQLModel, table=True):
    """One passage of a pair through lab and clinic, with the route it was given."""

    __table_args__ = (UniqueConstraint("pair_id", "number"),)

    id: int = Field(default=None, primary_key=True)
    pair_id: int = Field(foreign_key="pair.id")
    number: int
    reason: str
    way: str
    route: list[str] = Field(sa_type=JSON)
    stages_on: list[str] = Field(sa_type=JSON)
    by_parcel: bool
    trims_at_clinic: bool
    started_at: datetime
    ended_at: datetime | None = None
    end: str | None = None
    promised_on: date | None = None
    """The day that was promised for it, once another visit has followed; until then the pair has it."""


class Move(SQLModel, table=True):
    """One act on a pair. Never edited, never deleted; words stand in a note."""

    __table_args__ = (
        UniqueConstraint("pair_id", "version"),
        # "What came back in these months, and how many pairs were dispensed in them?", without a look at the row.
        Index(
            "ix_move_comes_back",
            "act",
            "done_at",
            "visit_id",
            "pair_id",
            sqlite_where=COMES_BACK,
            postgresql_where=COMES_BACK,
        ),
        {"info": APPEND_ONLY, "sqlite_autoincrement": True},
    )

    id: int = Field(default=None, primary_key=True)
    pair_id: int = Field(foreign_key="pair.id")
    version: int
    """The pair's version after this move."""
    visit_id: int = Field(foreign_key="visit.id")
    act: str
    from_stage: str | None = None
    to_stage: str | None = None
    sides: str
    reason: str | None = None
    note_id: int | None = Field(default=None, foreign_key="note.id")
    note_digest: str | None = None
    staff_id: int = Field(foreign_key="staff.id", index=True)
    at: datetime
    done_at: datetime
    together: bool = False
    """Work over several stages booked in one go: it counts for none of their times."""
    takes_back: int | None = Field(default=None, foreign_key="move.id")
    facts: dict[str, Any] = Field(default_factory=dict, sa_type=JSON)


class Stay(SQLModel, table=True):
    """How long a side was at a stage that it has left, counted once in one calendar's working minutes."""

    __table_args__ = (
        # Percentiles by count and offset: exact, without sorting.
        Index("ix_stay_stage_month_minutes", "calendar_id", "stage", "month", "minutes"),
    )

    calendar_id: int = Field(foreign_key="calendar.id", primary_key=True)
    move_id: int = Field(foreign_key="move.id", primary_key=True)
    side: str = Field(primary_key=True)
    pair_id: int = Field(foreign_key="pair.id", index=True)
    stage: str
    month: int
    """Year and month of leaving in the lab's zone, as 202611."""
    minutes: int
    entered_at: datetime
    left_at: datetime


class Hold(SQLModel, table=True):
    """A named question or reason for which a pair stands still, until the move that closes it."""

    __table_args__ = (
        # "Why does this pair stand still?" on pages and at every act.
        Index(
            "ix_hold_pair_open",
            "pair_id",
            sqlite_where=text("closed_by IS NULL"),
            postgresql_where=text("closed_by IS NULL"),
        ),
    )

    id: int = Field(foreign_key="move.id", primary_key=True)
    """The move that opened it: an act opens one at most."""
    # "Why did these pairs stand still in times that are over?", of many at once.
    pair_id: int = Field(foreign_key="pair.id", index=True)
    kind: str
    reason: str | None = None
    waiting_on: str
    before: str | None = None
    """The stage up to which the pair goes on all the same."""
    note_id: int | None = Field(default=None, foreign_key="note.id")
    opened_at: datetime
    closed_by: int | None = Field(default=None, foreign_key="move.id")
    closed_at: datetime | None = None
    answer_id: int | None = Field(default=None, foreign_key="note.id")


class DoneKey(SQLModel, table=True):
    """An idempotency key whose act was done, with the answer it got; to be kept 30 days."""

    __tablename__ = "done_key"

    staff_id: int = Field(foreign_key="staff.id", primary_key=True)
    key: str = Field(primary_key=True)
    fingerprint: str
    status: int
    answer: dict[str, Any] = Field(sa_type=JSON)
    at: datetime = Field(index=True)


class Serial(SQLModel, table=True):
    """The last serial given out in each year; its row is the lock that keeps codes apart."""

    year: int = Field(primary_key=True)
    last: int
