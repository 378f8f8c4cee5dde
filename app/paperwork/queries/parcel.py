"""What lies in a parcel, for its slip; packing and receiving it is the bench's."""

from collections import defaultdict
from datetime import datetime
from typing import NamedTuple

from sqlmodel import Session, col, select

from app.bench import queries as bench
from app.bench.rules.belongings import words_of
from app.bench.tables import Pair, Parcel, ParcelItem
from app.errors import NotFound
from app.people import queries as people
from app.people.queries import ClinicRow, LabRow
from app.people.rules import Viewer


class Packed(NamedTuple):
    """One pair in a parcel; `all_sides` of the pair and those of them that travel."""

    code: str
    label: str
    sides: str
    all_sides: str
    state: str
    things: list[str]
    """Belongings that travel along, in words."""


class Slip(NamedTuple):
    id: int
    payload: str
    to_clinic: bool
    lab: LabRow
    clinic: ClinicRow
    carrier: str
    tracking: str
    sent_at: datetime
    sent_by: str
    received_at: datetime | None
    items: list[Packed]
    devices: int
    things: int
    """How many belongings."""


def slip(db: Session, viewer: Viewer, parcel_id: int) -> Slip:
    """What lies in a parcel, for who packed it and who unpacks it; another clinic's is not found."""
    parcel = db.get(Parcel, parcel_id)
    if parcel is None or not bench.sees(viewer, parcel.clinic_id):
        raise NotFound("There is no such parcel here.")
    items = _packed(db, parcel_id)
    return Slip(
        id=parcel.id,
        payload=f"PARCEL/{parcel.id}",
        to_clinic=parcel.to_clinic,
        lab=people.lab(db),
        clinic=people.clinic(db, parcel.clinic_id),
        carrier=parcel.carrier,
        tracking=parcel.tracking,
        sent_at=parcel.sent_at,
        sent_by=people.staff_names(db, [parcel.sent_by])[parcel.sent_by],
        received_at=parcel.received_at,
        items=items,
        devices=sum(len(item.sides) for item in items),
        things=sum(len(item.things) for item in items),
    )


def _packed(db: Session, parcel_id: int) -> list[Packed]:
    rows = db.execute(
        select(col(Pair.code), col(Pair.label), col(ParcelItem.sides), col(Pair.all_sides), col(ParcelItem.state))  # type: ignore[call-overload]  # more columns than its overloads count
        .join(Pair, col(Pair.id) == col(ParcelItem.pair_id))
        .where(col(ParcelItem.parcel_id) == parcel_id)
        .order_by(col(Pair.code))
    )
    along: dict[str, list[str]] = defaultdict(list)
    for each in bench.travelling(db, parcel_ids=[parcel_id]):
        along[each.code].append(words_of(each.kind, each.side))
    return [Packed(code, label, sides, every, state, along[code]) for code, label, sides, every, state in rows]
