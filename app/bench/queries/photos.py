"""The photos that went along with a pair's moves."""

from datetime import datetime
from itertools import groupby
from operator import attrgetter
from typing import NamedTuple

from sqlalchemy import select
from sqlmodel import Session

from app.bench.queries.moves import move_t
from app.bench.tables import MovePhoto
from app.errors import NotFound

photo_t = MovePhoto.metadata.tables["move_photo"]


class PhotoRow(NamedTuple):
    id: int
    move_id: int
    act: str
    reason: str | None
    at: datetime
    file_key: str
    small_key: str
    width_px: int
    height_px: int
    number: int = 0
    """Within its move, from 1."""


_COLUMNS = tuple((move_t if name in ("act", "reason", "at") else photo_t).c[name] for name in PhotoRow._fields[:-1])


def photos_of(db: Session, pair_id: int) -> dict[int, list[PhotoRow]]:
    """By move, in the order in which they were sent."""
    query = (
        select(*_COLUMNS)
        .join(move_t, move_t.c.id == photo_t.c.move_id)
        .where(photo_t.c.pair_id == pair_id)
        .order_by(photo_t.c.move_id, photo_t.c.id)
    )
    by_move = groupby((PhotoRow(*row) for row in db.execute(query)), attrgetter("move_id"))
    return {move_id: [row._replace(number=number) for number, row in enumerate(rows, 1)] for move_id, rows in by_move}


def photo(db: Session, pair_id: int, photo_id: int) -> PhotoRow:
    for rows in photos_of(db, pair_id).values():
        for row in rows:
            if row.id == photo_id:
                return row
    raise NotFound("There is no such photo with this pair.")
