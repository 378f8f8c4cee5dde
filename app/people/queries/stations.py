"""Reading the tablets of the bench, and what a person has to sign on with there."""

from collections.abc import Collection
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import select
from sqlmodel import Session, col

from app.people.tables import Badge, Staff, Station


class StationRow(NamedTuple):
    id: int
    name: str
    enrolled_at: datetime
    enrolled_by: str
    used_at: datetime | None


def stations(db: Session) -> list[StationRow]:
    """The tablets that are enrolled now, by name."""
    rows = db.execute(
        select(col(Station.id), col(Station.name), col(Station.enrolled_at), col(Staff.name), col(Station.used_at))
        .join(Staff, col(Staff.id) == col(Station.enrolled_by))
        .where(col(Station.ended_at).is_(None))
        .order_by(col(Station.name))
    )
    return [StationRow(*row) for row in rows]


def has_stations(db: Session) -> bool:
    return db.execute(select(col(Station.id)).where(col(Station.ended_at).is_(None)).limit(1)).first() is not None


class Enrolled(NamedTuple):
    id: int
    name: str


def enrolled(db: Session, tablet_hash: str) -> Enrolled | None:
    """The tablet with this secret, if it may still be signed on at."""
    mine = (col(Station.token_hash) == tablet_hash, col(Station.ended_at).is_(None))
    row = db.execute(select(col(Station.id), col(Station.name)).where(*mine)).first()
    return Enrolled(*row) if row else None


def station_names(db: Session, ids: Collection[int]) -> dict[int, str]:
    """Of tablets that were ended, too."""
    if not ids:
        return {}
    rows = db.execute(select(col(Station.id), col(Station.name)).where(col(Station.id).in_(list(ids))))
    return {row[0]: row[1] for row in rows}


class SignsOnWith(NamedTuple):
    badge_made_at: datetime | None
    """Of the badge that works; None without one."""
    has_pin: bool


def signs_on_with(db: Session, staff_id: int) -> SignsOnWith:
    row = db.execute(
        select(col(Badge.made_at), col(Staff.pin).is_not(None))
        .select_from(Staff)
        .join(Badge, (col(Badge.staff_id) == col(Staff.id)) & col(Badge.void_at).is_(None), isouter=True)
        .where(col(Staff.id) == staff_id)
    ).one()
    return SignsOnWith(row[0], bool(row[1]))
