"""Photos that went along with what lab and clinic asked and told each other of a pair."""

from sqlalchemy import Index
from sqlmodel import Field, SQLModel


class MovePhoto(SQLModel, table=True):
    """A photo of one act, as it was written anew: whole, and small for the thread. Who and when is the move's.

    It may show a wearer: like the photos of how they stand it is found by the pair, and is no part of the log.
    """

    __tablename__ = "move_photo"
    __table_args__ = (
        # The photos of a pair's thread in its order, and how many an open question has.
        Index("ix_move_photo_pair_id_move_id", "pair_id", "move_id"),
    )

    id: int = Field(default=None, primary_key=True)
    pair_id: int = Field(foreign_key="pair.id")
    move_id: int = Field(foreign_key="move.id")
    file_key: str = Field(unique=True)
    small_key: str = Field(unique=True)
    width_px: int
    height_px: int
    size_bytes: int
    sha256: str
    """Of the file as it came."""
