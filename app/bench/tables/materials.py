"""What devices are made of: materials, their lots, on which sides a lot was used, and lots that are held.

Amounts are hundredths of the material's unit, as integers.
"""

from datetime import date, datetime

from sqlalchemy import Index, UniqueConstraint, text
from sqlmodel import Field, SQLModel


class Material(SQLModel, table=True):
    """Something the lab buys by lots: a sheet, plaster, a cover, an adhesive."""

    id: int = Field(default=None, primary_key=True)
    kind: str
    """A kind of app/bench/rules/materials.py."""
    name: str
    material: str | None = None
    """The prescription's key, by which a sheet or cover is matched; empty for plaster and adhesives."""
    thickness: int | None = None
    """Tenths of a millimetre, of a sheet or cover."""
    width_mm: int | None = None
    length_mm: int | None = None
    """The size that it is bought in, where that is known."""
    unit: str
    per_side: int
    """What one side takes."""
    low: int = 0
    """Less than this in stock is little; 0 says that nobody wants to be told."""
    low_since: datetime | None = None
    """Since when there is less, over all lots that are not held."""


class Lot(SQLModel, table=True):
    """One delivery of a material under the maker's lot number."""

    __table_args__ = (
        UniqueConstraint("material_id", "number_key"),
        # "Which lot is this?", by the beginning of its number.
        Index("ix_lot_number_key", "number_key"),
        # What has something left: the stock, what can be picked at a bench, what has expired.
        Index("ix_lot_in_stock", "material_id", sqlite_where=text("stock > 0"), postgresql_where=text("stock > 0")),
        # One lot of a material is in use at most; and which are, for every row of a bench's queue.
        Index(
            "ix_lot_in_use",
            "material_id",
            unique=True,
            sqlite_where=text("in_use_since IS NOT NULL"),
            postgresql_where=text("in_use_since IS NOT NULL"),
        ),
    )

    id: int = Field(default=None, primary_key=True)
    material_id: int = Field(foreign_key="material.id")
    number: str
    number_key: str
    """Letters and digits alone."""
    received_on: date
    expires_on: date | None = None
    """The last day on which it may be used."""
    stock: int
    """May fall below zero: what a bench used, it had, whatever was counted before."""
    held: bool = False
    last_used_at: datetime | None = None
    in_use_since: datetime | None = None
    """Since when it is the opened bag, the sheet being cut: what one tap at a bench notes."""


class LotUse(SQLModel, table=True):
    """That a lot went into one side of a pair at one stage. A use that was taken back never was."""

    __tablename__ = "lot_use"
    __table_args__ = (
        # "Which pairs is this lot in?", newest first.
        Index("ix_lot_use_lot_id_pair_id", "lot_id", "pair_id"),
    )

    id: int = Field(default=None, primary_key=True)
    lot_id: int = Field(foreign_key="lot.id")
    # The lots of a pair, on its page and when a side is made again.
    pair_id: int = Field(foreign_key="pair.id", index=True)
    side: str
    stage: str
    move_id: int = Field(foreign_key="move.id")
    amount: int
    at: datetime
    staff_id: int = Field(foreign_key="staff.id")
    scrapped_at: datetime | None = None
    """Since when this work of the side is no longer in the device: it was made again."""
    scrapped_by: int | None = Field(default=None, foreign_key="move.id")


class LotHold(SQLModel, table=True):
    """That a lot was held, from then on or until it was lifted."""

    __tablename__ = "lot_hold"
    __table_args__ = (
        # A lot is held once at a time; and "what is held now?"
        Index(
            "ix_lot_hold_open",
            "lot_id",
            unique=True,
            sqlite_where=text("lifted_at IS NULL"),
            postgresql_where=text("lifted_at IS NULL"),
        ),
        # All holds of a lot, on its page.
        Index("ix_lot_hold_lot_id", "lot_id"),
    )

    id: int = Field(default=None, primary_key=True)
    lot_id: int = Field(foreign_key="lot.id")
    held_at: datetime
    held_by: int = Field(foreign_key="staff.id")
    note_id: int = Field(foreign_key="note.id")
    lifted_at: datetime | None = None
    lifted_by: int | None = Field(default=None, foreign_key="staff.id")
    lifted_note_id: int | None = Field(default=None, foreign_key="note.id")


class LotNotice(SQLModel, table=True):
    """A pair that a held lot is in: whether its wearer was told and the pair came back, as the clinic notes."""

    __tablename__ = "lot_notice"

    hold_id: int = Field(foreign_key="lot_hold.id", primary_key=True)
    pair_id: int = Field(foreign_key="pair.id", primary_key=True, index=True)
    parked_by: int | None = Field(default=None, foreign_key="move.id")
    """The move by which the pair stands still for it; empty where the pair had ended."""
    told_at: datetime | None = None
    told_by: int | None = Field(default=None, foreign_key="staff.id")
    returned_at: datetime | None = None
    returned_by: int | None = Field(default=None, foreign_key="staff.id")
