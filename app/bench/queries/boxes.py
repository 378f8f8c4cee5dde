"""What travels and what came along: parcels, their contents, belongings."""

from collections.abc import Collection
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import select
from sqlmodel import Session, col

from app.bench.queries.pairs import belonging_t, clinic_t, item_t, pair_t
from app.bench.tables import Parcel, ParcelItem
from app.people.tables import Staff


class ParcelRow(NamedTuple):
    id: int
    clinic_id: int
    clinic: str
    to_clinic: bool
    carrier: str
    tracking: str
    sent_at: datetime
    received_at: datetime | None


def parcels_under_way(db: Session, *, clinics: Collection[int] | None) -> list[ParcelRow]:
    """Parcels that were sent and not received, oldest first; `clinics` as in `queue`."""
    query = (
        select(
            col(Parcel.id),
            col(Parcel.clinic_id),
            clinic_t.c.name,
            col(Parcel.to_clinic),
            col(Parcel.carrier),
            col(Parcel.tracking),
            col(Parcel.sent_at),
            col(Parcel.received_at),
        )
        .join(clinic_t, clinic_t.c.id == col(Parcel.clinic_id))
        .where(col(Parcel.received_at).is_(None))
        .order_by(col(Parcel.sent_at))
    )
    if clinics is not None:
        query = query.where(col(Parcel.clinic_id).in_(list(clinics)))
    return [ParcelRow(*row) for row in db.execute(query)]


def parcel_contents(db: Session, parcel_ids: Collection[int]) -> dict[int, list[tuple[str, str, str, str]]]:
    """Code, label, sides and state of each pair, by parcel."""
    rows = db.execute(
        select(col(ParcelItem.parcel_id), pair_t.c.code, pair_t.c.label, col(ParcelItem.sides), col(ParcelItem.state))
        .join(pair_t, pair_t.c.id == col(ParcelItem.pair_id))
        .where(col(ParcelItem.parcel_id).in_(list(parcel_ids)))
        .order_by(pair_t.c.code)
    )
    found: dict[int, list[tuple[str, str, str, str]]] = {}
    for row in rows:
        found.setdefault(row[0], []).append((row[1], row[2], row[3], row[4]))
    return found


class BelongingRow(NamedTuple):
    id: int
    pair_id: int
    kind: str
    side: str
    place: str
    becomes: str
    shelf: str | None
    settled_at: datetime | None
    settled_by: str | None


def belongings(db: Session, pair_ids: Collection[int], *, unsettled: bool = False) -> list[BelongingRow]:
    """What came with these pairs, in the order of coming; `unsettled` leaves out what is accounted for."""
    names = ("id", "pair_id", "kind", "side", "place", "becomes", "shelf", "settled_at")
    query = (
        select(*(belonging_t.c[name] for name in names), col(Staff.name))
        .join(Staff, col(Staff.id) == belonging_t.c.settled_by, isouter=True)
        .where(belonging_t.c.pair_id.in_(list(pair_ids)))
        .order_by(belonging_t.c.id)
    )
    if unsettled:
        query = query.where(belonging_t.c.settled_at.is_(None))
    return [BelongingRow(*row) for row in db.execute(query)]


class Travelling(NamedTuple):
    """A belonging in a parcel, sent, received, missing or damaged there, with the code of its pair."""

    parcel_id: int
    id: int
    kind: str
    side: str
    state: str
    code: str


def travelling(
    db: Session, *, parcel_ids: Collection[int] | None = None, pair_ids: Collection[int] | None = None
) -> list[Travelling]:
    """What travels or travelled in these parcels, or of these pairs; by parcel and pair."""
    query = (
        select(item_t.c.parcel_id, belonging_t.c.id, belonging_t.c.kind, belonging_t.c.side, item_t.c.state)
        .add_columns(pair_t.c.code)
        .join(belonging_t, belonging_t.c.id == item_t.c.belonging_id)
        .join(pair_t, pair_t.c.id == belonging_t.c.pair_id)
        .order_by(item_t.c.parcel_id, pair_t.c.code, belonging_t.c.id)
    )
    if parcel_ids is not None:
        query = query.where(item_t.c.parcel_id.in_(list(parcel_ids)))
    if pair_ids is not None:
        query = query.where(belonging_t.c.pair_id.in_(list(pair_ids)))
    return [Travelling(*row) for row in db.execute(query)]


def travelled(db: Session, order_ids: Collection[int]) -> tuple[list[int], list[int]]:
    """The pairs of these orders, and the parcels that they were ever in."""
    rows = db.execute(
        select(pair_t.c.id, col(ParcelItem.parcel_id))
        .join(ParcelItem, col(ParcelItem.pair_id) == pair_t.c.id, isouter=True)
        .where(pair_t.c.order_id.in_(list(order_ids)))
    ).all()
    return sorted({row[0] for row in rows}), sorted({row[1] for row in rows if row[1] is not None})
