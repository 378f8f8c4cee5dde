"""What happens between the clinic and the wearer: fit checks, wearing in, reviews and rechecks, contacts, adjustments,
how the wearer stands, and what the wearer notes at home.

Words stand in notes; these rows hold ids, codes and numbers. `move_id` is the act that a row was made by.
"""

from datetime import date, datetime
from typing import Any

from sqlalchemy import JSON, Index, UniqueConstraint, text
from sqlmodel import Field, SQLModel

_OPEN = text("state = 'open'")
_FLAGGED = text("flagged_at IS NOT NULL AND cleared_at IS NULL")
_WORKS = text("ended_at IS NULL")


class FitCheck(SQLModel, table=True):
    """What was looked at on the day of dispensing, and what it came to."""

    __tablename__ = "fit_check"

    id: int = Field(default=None, primary_key=True)
    # "How did this pair fit?" on its page.
    pair_id: int = Field(foreign_key="pair.id", index=True)
    move_id: int = Field(foreign_key="move.id")
    staff_id: int = Field(foreign_key="staff.id")
    at: datetime
    answers: dict[str, Any] = Field(sa_type=JSON)
    """By side and item; app/fitting/rules/fit.py names them."""
    result: str
    """released, trimmed (here, then released), with_reason, sent_back or parked."""
    shoe_before: dict[str, Any] | None = Field(default=None, sa_type=JSON)
    """The order's shoe, if another replaced it that day: it comes back when the dispensing is taken back."""
    pain: int | None = None
    """0 to 10, 10 the worst, before the pair is worn for the first time; None where it was not asked."""
    comfort: int | None = None
    """The same, 10 the best."""


class WearingPlan(SQLModel, table=True):
    """The hours a day from the day of dispensing on; day 1 is `from_day`."""

    __tablename__ = "wearing_plan"

    id: int = Field(default=None, primary_key=True)
    # The plan of a pair, on its page and on paper.
    pair_id: int = Field(foreign_key="pair.id", index=True)
    move_id: int = Field(foreign_key="move.id")
    from_day: date
    start_minutes: int
    step_minutes: int
    target_minutes: int
    plan: str
    """Key of the published plan it began with, or of the clinic's own (app/fitting/rules/plan.py)."""
    painful_days: list[int] = Field(default_factory=list, sa_type=JSON)
    ended_at: datetime | None = None
    void: bool = False
    """The dispensing that it belonged to was taken back."""


class Review(SQLModel, table=True):
    """The appointment after wearing in, where adjustments are decided; numbered within the pair."""

    __table_args__ = (
        UniqueConstraint("pair_id", "number"),
        # Reviews due and overdue, by day.
        Index("ix_review_due", "due_on", "id", sqlite_where=_OPEN, postgresql_where=_OPEN),
        # "What became of the reviews that were due in these months?"
        Index("ix_review_due_on", "due_on", "state", "outcome", "pair_id"),
        # "What did the reviews of these months find?"
        Index("ix_review_held_at", "held_at", "outcome", "pair_id"),
    )

    id: int = Field(default=None, primary_key=True)
    pair_id: int = Field(foreign_key="pair.id")
    move_id: int = Field(foreign_key="move.id")
    number: int
    due_on: date
    appointment: datetime | None = None
    state: str = "open"
    """open, held or void."""
    held_at: datetime | None = None
    outcome: str | None = None
    """settle, adjust_here, adjust_lab, keep_wearing, remake; for a void one the act that ended it."""
    hours_reached: float | None = None
    comfort: int | None = None
    """0 to 10, 10 the best."""
    pain: int | None = None
    """0 to 10, 10 the worst."""
    pain_relief: int | None = None
    """Per cent, as the wearer tells it."""
    skin: str | None = None
    note_id: int | None = Field(default=None, foreign_key="note.id")


class Recheck(SQLModel, table=True):
    """A later look at a wearer at high risk or a child, beside the reviews of the pair."""

    __table_args__ = (
        # Rechecks due, by day.
        Index("ix_recheck_due", "due_on", "id", sqlite_where=_OPEN, postgresql_where=_OPEN),
    )

    id: int = Field(default=None, primary_key=True)
    patient_id: int = Field(foreign_key="patient.id", index=True)
    # "Has this pair its rechecks?" at each dispensing.
    pair_id: int = Field(foreign_key="pair.id", index=True)
    move_id: int = Field(foreign_key="move.id")
    due_on: date
    kind: str
    """high_risk or child."""
    state: str = "open"
    """open, held or void."""


class Contact(SQLModel, table=True):
    """Every word between clinic and wearer about coming: told, booked, did not come."""

    id: int = Field(default=None, primary_key=True)
    # Attempts to reach a wearer, counted; the list on the pair's page.
    pair_id: int = Field(foreign_key="pair.id", index=True)
    move_id: int = Field(foreign_key="move.id")
    kind: str
    """told, booked or no_show."""
    staff_id: int = Field(foreign_key="staff.id")
    at: datetime
    how: str | None = None
    who: str | None = None
    """Whom the clinic told."""
    what: str | None = None
    """The appointment: fitting or review."""
    appointment: datetime | None = None


class Adjustment(SQLModel, table=True):
    """One thing done to one side by a clinician at a review."""

    id: int = Field(default=None, primary_key=True)
    # What was adjusted on this pair so far.
    pair_id: int = Field(foreign_key="pair.id", index=True)
    move_id: int = Field(foreign_key="move.id")
    side: str
    zone: str
    what: str
    note_id: int | None = Field(default=None, foreign_key="note.id")


class Wish(SQLModel, table=True):
    """An adjustment that was asked for before the review; its words are the note of its move."""

    __table_args__ = (
        # "Is a wish open on this pair?" at every review and in the list of reviews.
        Index(
            "ix_wish_open",
            "pair_id",
            sqlite_where=text("answered_at IS NULL"),
            postgresql_where=text("answered_at IS NULL"),
        ),
    )

    id: int = Field(default=None, primary_key=True)
    pair_id: int = Field(foreign_key="pair.id")
    move_id: int = Field(foreign_key="move.id")
    noted_at: datetime
    red_flags: list[str] = Field(default_factory=list, sa_type=JSON)
    answered_at: datetime | None = None


class StancePhoto(SQLModel, table=True):
    """A photo from behind, as it was written anew. One that took its place is a row of its own; both files stay."""

    __tablename__ = "stance_photo"

    id: int = Field(default=None, primary_key=True)
    # The photos of a pair, on its page of stance.
    pair_id: int = Field(foreign_key="pair.id", index=True)
    visit_id: int = Field(foreign_key="visit.id")
    with_devices: bool
    file_key: str = Field(unique=True)
    width_px: int
    height_px: int
    size_bytes: int
    sha256: str
    """Of the file as it came, so that the same is not added twice."""
    uploaded_by: int = Field(foreign_key="staff.id")
    uploaded_at: datetime


class FootMeasure(SQLModel, table=True):
    """One thing measured on one foot of a standing wearer. A correction is a row that names the one it replaces."""

    __tablename__ = "foot_measure"

    id: int = Field(default=None, primary_key=True)
    # "How did this wearer stand?" on the pair's pages.
    pair_id: int = Field(foreign_key="pair.id", index=True)
    visit_id: int = Field(foreign_key="visit.id")
    kind: str
    """angles, posture, arch or navicular; app/fitting/rules/stance.py names what each holds."""
    side: str
    with_devices: bool
    found: dict[str, Any] = Field(sa_type=JSON)
    """What was marked or typed; every figure is worked out from it. Lengths in tenths of a millimetre."""
    photo_id: int | None = Field(default=None, foreign_key="stance_photo.id")
    staff_id: int = Field(foreign_key="staff.id")
    at: datetime
    replaces_id: int | None = Field(default=None, foreign_key="foot_measure.id", unique=True)


class ClinicPlan(SQLModel, table=True):
    """A wearing-in plan of a clinic's own; never changed once made: a new one is made, and the old one ends."""

    __tablename__ = "clinic_plan"
    __table_args__ = (
        # The plans that a clinic offers, by name.
        Index("ix_clinic_plan_open", "clinic_id", "name", unique=True, sqlite_where=_WORKS, postgresql_where=_WORKS),
    )

    id: int = Field(default=None, primary_key=True)
    clinic_id: int = Field(foreign_key="clinic.id")
    name: str
    start_minutes: int
    step_minutes: int
    target_minutes: int
    made_at: datetime
    ended_at: datetime | None = None


class WearerLink(SQLModel, table=True):
    """The address of a wearer's own page. Only its secret's hash is stored; it is good until its review is held."""

    __tablename__ = "wearer_link"
    __table_args__ = (
        # A pair has one link that works.
        Index("ix_wearer_link_open", "pair_id", unique=True, sqlite_where=_WORKS, postgresql_where=_WORKS),
    )

    id: int = Field(default=None, primary_key=True)
    pair_id: int = Field(foreign_key="pair.id")
    review_id: int = Field(foreign_key="review.id")
    token_hash: str = Field(unique=True)
    made_by: int = Field(foreign_key="staff.id")
    made_at: datetime
    ended_at: datetime | None = None


class WearerNote(SQLModel, table=True):
    """What a wearer noted of one day; each answer is empty until it is given."""

    __tablename__ = "wearer_note"
    __table_args__ = (
        UniqueConstraint("pair_id", "day"),
        # "Which wearers noted a red flag that nobody has cleared?" on every clinician's desk.
        Index("ix_wearer_note_flagged", "pair_id", sqlite_where=_FLAGGED, postgresql_where=_FLAGGED),
    )

    id: int = Field(default=None, primary_key=True)
    pair_id: int = Field(foreign_key="pair.id")
    day: date
    """In the lab's zone."""
    minutes: int | None = None
    """Worn that day."""
    comfort: int | None = None
    """1 to 5, 5 the best; app/fitting/rules/wearer.py names them."""
    skin: str | None = None
    """clear, mark_gone or red_flag."""
    noted_at: datetime
    flagged_at: datetime | None = None
    """When a red flag was noted; it stays when the answer is changed, until a clinician clears it."""
    cleared_at: datetime | None = None
    cleared_by: int | None = Field(default=None, foreign_key="staff.id")
