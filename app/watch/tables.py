"""What people have said to flags: acknowledged, or put off to a day. Flags themselves are never stored."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field, SQLModel


class FlagNote(SQLModel, table=True):
    """The last word to one kind of flag on one pair or arrival; earlier ones stand in the journal."""

    __tablename__ = "flag_note"
    __table_args__ = (
        UniqueConstraint("pair_id", "kind"),
        UniqueConstraint("arrival_id", "kind"),
        CheckConstraint("(pair_id IS NULL) <> (arrival_id IS NULL)", name="about_one_thing"),
    )

    id: int = Field(default=None, primary_key=True)
    kind: str
    pair_id: int | None = Field(default=None, foreign_key="pair.id")
    arrival_id: int | None = Field(default=None, foreign_key="arrival.id")
    since: datetime
    """The flag's own beginning: with another it is another flag, and this word does not hold for it."""
    until: date | None = None
    """The day on which it comes back; empty when it was acknowledged."""
    staff_id: int = Field(foreign_key="staff.id")
    note_id: int = Field(foreign_key="note.id")
    at: datetime
