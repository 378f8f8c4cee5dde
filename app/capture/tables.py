"""How a foot reached the lab, the positives made from it, and which of them an order is worked from."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import JSON, Index, text
from sqlmodel import Field, SQLModel


class Capture(SQLModel, table=True):
    """One foot, one side: a cast or a scan."""

    id: int = Field(default=None, primary_key=True)
    patient_id: int = Field(foreign_key="patient.id", index=True)
    side: str
    kind: str
    state: str = "expected"
    """expected, arrived, accepted, refused, used_up or void."""
    expected_at: datetime
    captured_on: date | None = None
    """When the foot was cast or scanned, where that was not about the day of the order."""
    arrived_at: datetime | None = None
    shelf: str = ""
    conditions: dict[str, Any] = Field(default_factory=dict, sa_type=JSON)
    """Answers to the condition list at check-in."""
    void_reason: str | None = None
    file_key: str | None = None
    """Of the scan that holds now; its row in `scan` says the rest."""


class Scan(SQLModel, table=True):
    """A mesh file as it was added to a capture. One that took its place is a row of its own; both files stay."""

    id: int = Field(default=None, primary_key=True)
    capture_id: int = Field(foreign_key="capture.id")
    # The scan that a capture has now, for the pair's page and its download.
    file_key: str = Field(unique=True)
    kind: str
    """stl, obj or ply."""
    size_bytes: int
    sha256: str
    measures: dict[str, Any] = Field(sa_type=JSON)
    """The fields of app.trade.footmesh.FootMesh, lengths to a tenth of a millimetre."""
    uploaded_by: int = Field(foreign_key="staff.id")
    uploaded_at: datetime


class Arrival(SQLModel, table=True):
    """Something that has come into the lab before anyone knows whose it is."""

    __table_args__ = (
        # The list of what waits to be matched, oldest first.
        Index(
            "ix_arrival_waiting",
            "at",
            sqlite_where=text("settled_at IS NULL"),
            postgresql_where=text("settled_at IS NULL"),
        ),
    )

    id: int = Field(default=None, primary_key=True)
    at: datetime
    logged_by: int = Field(foreign_key="staff.id")
    kind: str
    sides: str
    """L, R or LR as far as it can be told."""
    label: str = ""
    """What is written on it."""
    clinic_id: int | None = Field(default=None, foreign_key="clinic.id")
    shelf: str = ""
    damaged: bool = False
    note_id: int | None = Field(default=None, foreign_key="note.id")
    became: str | None = None
    """matched, split or returned, once it is settled."""
    order_id: int | None = Field(default=None, foreign_key="orders.id", index=True)
    settled_at: datetime | None = None
    settled_by: int | None = Field(default=None, foreign_key="staff.id")


class Positive(SQLModel, table=True):
    """The plaster, carved or printed foot made from a capture."""

    id: int = Field(default=None, primary_key=True)
    capture_id: int = Field(foreign_key="capture.id", index=True)
    side: str
    made_at: datetime
    shelf: str = ""
    kept_until: date | None = None
    state: str = "intact"
    """intact, broken or thrown_away."""
    move_id: int | None = Field(default=None, index=True)
    """The act that said it was made, which may be taken back. Plain value: moves stand above this room."""


class WorkedFrom(SQLModel, table=True):
    """What each side of an order is worked from: one capture at a time, the positive once there is one."""

    __tablename__ = "worked_from"

    order_id: int = Field(foreign_key="orders.id", primary_key=True)
    side: str = Field(primary_key=True)
    capture_id: int = Field(foreign_key="capture.id", index=True)
    positive_id: int | None = Field(default=None, foreign_key="positive.id")
