"""What travels with pairs: belongings and parcels."""

from datetime import datetime

from sqlalchemy import Index, text
from sqlmodel import Field, SQLModel


class Belonging(SQLModel, table=True):
    """What came with a pair: shoes, liners, the old pair, a tracing, the cast."""

    __table_args__ = (
        # "What of an ended pair is not accounted for?", and what a parcel or the wearer can take along.
        Index(
            "ix_belonging_open",
            "pair_id",
            sqlite_where=text("settled_at IS NULL"),
            postgresql_where=text("settled_at IS NULL"),
        ),
    )

    id: int = Field(default=None, primary_key=True)
    # Everything that came with a pair, on its page.
    pair_id: int = Field(foreign_key="pair.id", index=True)
    kind: str
    side: str = "LR"
    place: str = "lab"
    """Where it is now; app/bench/rules/belongings.py names the places."""
    becomes: str = "back"
    """A fate of app/bench/rules/belongings.py."""
    settled_at: datetime | None = None
    """Since when it is accounted for; empty while it is still to go back."""
    settled_by: int | None = Field(default=None, foreign_key="staff.id")
    shelf: str | None = None
    """Where the lab keeps it, if it does."""


class Parcel(SQLModel, table=True):
    """A box on its way between the lab and a clinic, either way."""

    __table_args__ = (
        # Parcels on their way, by clinic.
        Index(
            "ix_parcel_on_the_way",
            "clinic_id",
            "sent_at",
            sqlite_where=text("received_at IS NULL"),
            postgresql_where=text("received_at IS NULL"),
        ),
    )

    id: int = Field(default=None, primary_key=True)
    clinic_id: int = Field(foreign_key="clinic.id")
    to_clinic: bool = True
    carrier: str = ""
    tracking: str = ""
    sent_at: datetime
    sent_by: int = Field(foreign_key="staff.id")
    received_at: datetime | None = None
    received_by: int | None = Field(default=None, foreign_key="staff.id")


class ParcelItem(SQLModel, table=True):
    """One pair in a parcel, with the sides that travel."""

    __tablename__ = "parcel_item"

    parcel_id: int = Field(foreign_key="parcel.id", primary_key=True)
    pair_id: int = Field(foreign_key="pair.id", primary_key=True, index=True)
    sides: str
    state: str = "sent"
    """sent, received, missing or damaged."""


class ParcelBelonging(SQLModel, table=True):
    """A belonging that travels in a parcel with its pair."""

    __tablename__ = "parcel_belonging"

    parcel_id: int = Field(foreign_key="parcel.id", primary_key=True)
    # "What became of this on its ways?", on its pair's page.
    belonging_id: int = Field(foreign_key="belonging.id", primary_key=True, index=True)
    state: str = "sent"
    """As of a pair: sent, received, missing or damaged."""
