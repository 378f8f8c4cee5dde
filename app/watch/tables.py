"""What people have said to flags: acknowledged, or put off to a day. Flags themselves are never stored."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field, SQLModel


class FlagNote(SQLModel, table=True):
    """The last word to one kind of flag on one pair, arrival or lot; earlier ones stand in the journal."""

    __tablename__ = "flag_note"
    __table_args__ = (
        UniqueConstraint("pair_id", "kind"),
        UniqueConstraint("arrival_id", "kind"),
        UniqueConstraint("lot_id", "kind"),
        CheckConstraint(
            "(CASE WHEN pair_id IS NULL THEN 0 ELSE 1 END) + (CASE WHEN arrival_id IS NULL THEN 0 ELSE 1 END) "
            "+ (CASE WHEN lot_id IS NULL THEN 0 ELSE 1 END) = 1",
            name="about_one_thing",
        ),
    )

    id: int = Field(default=None, primary_key=True)
    kind: str
    pair_id: int | None = Field(default=None, foreign_key="pair.id")
    arrival_id: int | None = Field(default=None, foreign_key="arrival.id")
    lot_id: int | None = Field(default=None, foreign_key="lot.id")
    since: datetime
    """The flag's own beginning: with another it is another flag, and this word does not hold for it."""
    until: date | None = None
    """The day on which it comes back; empty when it was acknowledged."""
    staff_id: int = Field(foreign_key="staff.id")
    note_id: int = Field(foreign_key="note.id")
    at: datetime
