"""Wearers, what a clinician asked for them, and every version of the prescription."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import JSON, Index, UniqueConstraint
from sqlmodel import Field, SQLModel


class Patient(SQLModel, table=True):
    __table_args__ = (
        UniqueConstraint("clinic_id", "label_key"),
        # Search by the start of a chart label, over the own clinics.
        Index("ix_patient_label_key_clinic_id", "label_key", "clinic_id"),
    )

    id: int = Field(default=None, primary_key=True)
    clinic_id: int = Field(foreign_key="clinic.id")
    label: str
    """The chart label or number: all that the bench sees of a person."""
    label_key: str
    """The label in upper case, letters and digits alone."""
    name: str | None = None
    """Seen by the own clinics only; erasure blanks it."""
    born_on: date | None = None
    born_year: int | None = None
    mass_kg: float | None = None
    posture_left: int | None = None
    posture_right: int | None = None
    """Foot Posture Index, -12 to 12, pronation positive."""
    risks: list[str] = Field(default_factory=list, sa_type=JSON)


class Order(SQLModel, table=True):
    __tablename__ = "orders"

    id: int = Field(default=None, primary_key=True)
    patient_id: int = Field(foreign_key="patient.id", index=True)
    clinic_id: int = Field(foreign_key="clinic.id")
    prescriber_id: int = Field(foreign_key="staff.id")
    typed_by: int = Field(foreign_key="staff.id")
    ordered_at: datetime
    way: str
    sides: str
    wanted_on: date | None = None
    rush_note_id: int | None = Field(default=None, foreign_key="note.id")
    """A rush has a reason in words; without one it is no rush."""
    ulcer_note_id: int | None = Field(default=None, foreign_key="note.id")
    """What the prescriber said when the wearer has an active ulcer: without it there is no such order."""
    shoe: dict[str, Any] = Field(default_factory=dict, sa_type=JSON)
    """kind, size, system, liner (comes out or not), inside_width in tenths of a millimetre."""
    repeats_id: int | None = Field(default=None, foreign_key="orders.id")
    """The same wearer's earlier order that this one began from."""
    feet: dict[str, dict[str, int]] = Field(default_factory=dict, sa_type=JSON)
    """Side to length and breadth as measured on the standing wearer, in tenths of a millimetre, as far as known."""

    dues: dict[str, str] = Field(default_factory=dict, sa_type=JSON)
    """approval with its number and day, payment; app/orders/rules/dues.py knows them. No amounts."""


class Prescription(SQLModel, table=True):
    __table_args__ = (UniqueConstraint("order_id", "number"),)

    id: int = Field(default=None, primary_key=True)
    order_id: int = Field(foreign_key="orders.id")
    number: int
    """The version that the job ticket prints."""
    body: dict[str, dict[str, Any]] = Field(sa_type=JSON)
    """Side to item to value; app/orders/rules.py names the items and their units."""
    stage_notes: dict[str, int] = Field(default_factory=dict, sa_type=JSON)
    """Stage to the id of the note that is shown there."""
    checks: list[dict[str, Any]] = Field(default_factory=list, sa_type=JSON)
    """What the checks found and a person answered: key, sentence, source, trust, `note` of a stop that was signed."""
    made_by: int = Field(foreign_key="staff.id")
    made_at: datetime


class OrderDraft(SQLModel, table=True):
    """An order that one person is typing. It is seen by that person alone and stands in no log."""

    __tablename__ = "order_draft"
    __table_args__ = (
        UniqueConstraint("staff_id", "key"),
        # What the timetable throws away.
        Index("ix_order_draft_kept_at", "kept_at"),
    )

    id: int = Field(default=None, primary_key=True)
    staff_id: int = Field(foreign_key="staff.id")
    key: str
    """Made with the form; a form that is sent again finds its draft by it."""
    clinic_id: int | None = Field(default=None, foreign_key="clinic.id")
    note_id: int | None = Field(default=None, foreign_key="note.id")
    """The form as it was typed, as JSON, where erasure reaches it. None once it was ordered or thrown away: what is
    still on its way from the form then is not kept again."""
    begun_at: datetime
    kept_at: datetime


class StartingPrescription(SQLModel, table=True):
    """A prescription to begin orders with: a clinic's or one person's. It says nothing of any wearer."""

    __tablename__ = "starting_prescription"

    id: int = Field(default=None, primary_key=True)
    name: str
    clinic_id: int | None = Field(default=None, foreign_key="clinic.id", index=True)
    staff_id: int | None = Field(default=None, foreign_key="staff.id", index=True)
    """Of a clinic or of a person, one of the two."""
    way: str
    body: dict[str, dict[str, Any]] = Field(sa_type=JSON)
    """As a prescription's."""
    made_by: int = Field(foreign_key="staff.id")
    made_at: datetime
