"""Materials, their lots, which pairs a lot went into and which lots a pair holds, and what is held."""

from collections.abc import Collection, Sequence
from datetime import date, datetime
from typing import NamedTuple

from sqlalchemy import Integer, bindparam, func, select
from sqlmodel import Session, col

from app.bench.queries.pairs import clinic_t, pair_t
from app.bench.rules.materials import LotRow, number_key
from app.bench.tables import Lot
from app.errors import NotFound
from app.journal.tables import Note
from app.people import queries as people
from app.people.tables import Staff

material_t, lot_t, use_t, lot_hold_t, notice_t = (
    Lot.metadata.tables[name] for name in ("material", "lot", "lot_use", "lot_hold", "lot_notice")
)
_LOT_OF = {name: lot_t.c[name] for name in ("id", "number", "received_on", "expires_on", "stock", "held")}
_LOT_OF |= {name: lot_t.c[name] for name in ("material_id", "last_used_at", "in_use_since")}
_LOTS = select(*(_LOT_OF[name] if name in _LOT_OF else material_t.c[name] for name in LotRow._fields)).join(
    material_t, material_t.c.id == lot_t.c.material_id
)


def lots(db: Session, ids: Sequence[int], *, lock: bool = False) -> list[LotRow]:
    """These lots in the order of their numbers; what does not exist is left out. `lock` holds their rows."""
    query = _LOTS.where(lot_t.c.id.in_(ids)).order_by(lot_t.c.id)
    if lock:  # not against new uses of theirs by others, which only point at them
        query = query.with_for_update(of=lot_t, key_share=True)
    return [LotRow(*row) for row in db.execute(query)]


def lot(db: Session, lot_id: int, *, lock: bool = False) -> LotRow:
    found = lots(db, [lot_id], lock=lock) if 0 < lot_id <= people.LARGEST_ID else []
    if not found:
        raise NotFound("There is no such lot.")
    return found[0]


_TO_PICK = _LOTS.where(lot_t.c.stock > 0, lot_t.c.held.is_(False)).order_by(
    lot_t.c.expires_on.is_(None), lot_t.c.expires_on, lot_t.c.id
)


def to_pick(db: Session) -> list[LotRow]:
    """Lots that something is left of and that are not held; what expires first comes first."""
    return [LotRow(*row) for row in db.execute(_TO_PICK)]


_IN_USE = _LOTS.where(lot_t.c.in_use_since.is_not(None)).order_by(lot_t.c.id)


def in_use(db: Session) -> list[LotRow]:
    """The lots in use, one of a material at most, whether or not they may still be picked."""
    return [LotRow(*row) for row in db.execute(_IN_USE)]


def lots_of(db: Session, material_id: int) -> list[LotRow]:
    """Every lot of a material: the one in use first, then what is left, then the newest."""
    query = _LOTS.where(lot_t.c.material_id == material_id)
    order = (lot_t.c.in_use_since.is_(None), lot_t.c.stock <= 0, lot_t.c.id.desc())
    return [LotRow(*row) for row in db.execute(query.order_by(*order))]


def lots_called(db: Session, number: str, most: int = 100) -> list[LotRow]:
    """Lots whose number begins like this."""
    key = number_key(number)
    if not key:
        return []
    begins = (lot_t.c.number_key >= key, lot_t.c.number_key < key + "\uffff")
    return [LotRow(*row) for row in db.execute(_LOTS.where(*begins).order_by(lot_t.c.number_key).limit(most))]


class MaterialRow(NamedTuple):
    """A material and what there is of it; `stock` over its lots that are neither held nor used up."""

    id: int
    kind: str
    name: str
    material: str | None
    thickness: int | None
    width_mm: int | None
    length_mm: int | None
    unit: str
    per_side: int
    low: int
    low_since: datetime | None
    stock: int
    lots: int
    held: int
    expires_on: date | None
    """The first day on which something that is left of it expires."""
    in_use: str | None
    """The number of the lot in use."""


_LEFT = (lot_t.c.stock > 0) & lot_t.c.held.is_(False)
_MATERIALS = (
    select(
        *(material_t.c[name] for name in MaterialRow._fields[:11]),
        func.coalesce(func.sum(lot_t.c.stock).filter(_LEFT), 0),
        func.count(lot_t.c.id).filter(_LEFT),
        func.count(lot_t.c.id).filter(lot_t.c.held),
        func.min(lot_t.c.expires_on).filter(_LEFT),
        func.max(lot_t.c.number).filter(lot_t.c.in_use_since.is_not(None)),
    )
    .join(lot_t, lot_t.c.material_id == material_t.c.id, isouter=True)
    .group_by(material_t.c.id)
    .order_by(material_t.c.kind, material_t.c.name, material_t.c.id)
)


def materials(db: Session) -> list[MaterialRow]:
    return [MaterialRow(*row) for row in db.execute(_MATERIALS)]


def material(db: Session, material_id: int) -> MaterialRow:
    known = 0 < material_id <= people.LARGEST_ID
    row = db.execute(_MATERIALS.where(material_t.c.id == material_id)).first() if known else None
    if row is None:
        raise NotFound("There is no such material.")
    return MaterialRow(*row)


def lot_names(db: Session, *, lots: Collection[int], materials: Collection[int]) -> dict[str, dict[int, str]]:
    """What these lots and materials are called, by id, under "lot" and "material"."""
    found: dict[str, dict[int, str]] = {"lot": {}, "material": {}}
    if lots:
        rows = db.execute(_LOTS.where(lot_t.c.id.in_(list(lots))))
        found["lot"] = {row.id: f"lot {row.number} of {row.name}" for row in rows}
    if materials:
        named = select(material_t.c.id, material_t.c.name).where(material_t.c.id.in_(list(materials)))
        found["material"] = {row.id: row.name for row in db.execute(named)}
    return found


class UseRow(NamedTuple):
    """One side of a pair that a lot went into."""

    pair_id: int
    code: str
    label: str
    clinic: str
    pair_stage: str | None
    end: str | None
    side: str
    stage: str
    at: datetime
    scrapped_at: datetime | None


_USES = (
    select(
        *(pair_t.c.id, pair_t.c.code, pair_t.c.label, clinic_t.c.name, pair_t.c.stage, pair_t.c.end),
        *(use_t.c.side, use_t.c.stage, use_t.c.at, use_t.c.scrapped_at),
    )
    .join(pair_t, pair_t.c.id == use_t.c.pair_id)
    .join(clinic_t, clinic_t.c.id == pair_t.c.clinic_id)
    .where(use_t.c.lot_id == bindparam("lot"), use_t.c.pair_id < bindparam("before", type_=Integer))
    .order_by(use_t.c.pair_id.desc(), use_t.c.id)
)
_SOME_PAIRS = (
    select(use_t.c.pair_id)
    .where(use_t.c.lot_id == bindparam("lot"), use_t.c.pair_id < bindparam("before", type_=Integer))
    .distinct()
    .order_by(use_t.c.pair_id.desc())
    .limit(bindparam("pairs", type_=Integer))
)
_USES_OF_SOME = _USES.where(use_t.c.pair_id.in_(_SOME_PAIRS))


def uses_of_lot(db: Session, lot_id: int, *, before: int | None = None, pairs: int) -> tuple[list[UseRow], int | None]:
    """What a lot went into, the newest pairs first, at most `pairs` of them; and the number before which others are."""
    asked = {"lot": lot_id, "before": before or people.LARGEST_ID, "pairs": pairs + 1}
    rows = [UseRow(*row) for row in db.execute(_USES_OF_SOME, asked)]
    order = list(dict.fromkeys(row.pair_id for row in rows))
    if len(order) <= pairs:
        return rows, None
    return [row for row in rows if row.pair_id != order[pairs]], order[pairs - 1]


class Counted(NamedTuple):
    pairs: int
    sides: int
    scrapped: int


def count_of_lot(db: Session, lot_id: int) -> Counted:
    """How many pairs and sides a lot is or was in, and how many of these sides were scrapped since."""
    scrapped = func.count().filter(use_t.c.scrapped_at.is_not(None))
    query = select(func.count(use_t.c.pair_id.distinct()), func.count(), scrapped).where(use_t.c.lot_id == lot_id)
    return Counted(*db.execute(query).one())


class OfPair(NamedTuple):
    """One lot in one side of a pair."""

    lot_id: int
    number: str
    name: str
    kind: str
    held: bool
    expires_on: date | None
    side: str
    stage: str
    at: datetime
    scrapped_at: datetime | None


def lots_of_pair(db: Session, pair_id: int) -> list[OfPair]:
    """Every lot that went into a pair, in the order of its making; what was scrapped is among them."""
    query = (
        select(
            *(lot_t.c.id, lot_t.c.number, material_t.c.name, material_t.c.kind, lot_t.c.held, lot_t.c.expires_on),
            *(use_t.c.side, use_t.c.stage, use_t.c.at, use_t.c.scrapped_at),
        )
        .join(lot_t, lot_t.c.id == use_t.c.lot_id)
        .join(material_t, material_t.c.id == lot_t.c.material_id)
        .where(use_t.c.pair_id == pair_id)
        .order_by(use_t.c.id)
    )
    return [OfPair(*row) for row in db.execute(query)]


def held_lots_of(db: Session, pair_id: int) -> list[str]:
    """The numbers of held lots that are in a pair now."""
    query = select(lot_t.c.number).join(use_t, use_t.c.lot_id == lot_t.c.id).distinct()
    return list(
        db.execute(query.where(use_t.c.pair_id == pair_id, use_t.c.scrapped_at.is_(None), lot_t.c.held)).scalars()
    )


class LotHoldRow(NamedTuple):
    """One time that a lot was held."""

    id: int
    held_at: datetime
    held_by: int
    words: str | None
    lifted_at: datetime | None
    lifted_by: int | None
    lifted_words: str | None


def holds_of_lot(db: Session, lot_id: int) -> list[LotHoldRow]:
    """The newest first; who held and lifted it by their numbers."""
    why, lifted = Note.metadata.tables["note"].alias("why"), Note.metadata.tables["note"].alias("lifted")
    of = lot_hold_t.c
    query = (
        select(of.id, of.held_at, of.held_by, why.c.words, of.lifted_at, of.lifted_by, lifted.c.words)
        .join(why, why.c.id == of.note_id)
        .join(lifted, lifted.c.id == of.lifted_note_id, isouter=True)
        .where(of.lot_id == lot_id)
        .order_by(of.id.desc())
    )
    return [LotHoldRow(*row) for row in db.execute(query)]


class NoticeRow(NamedTuple):
    """A pair that a held lot is in, and what its clinic has noted."""

    hold_id: int
    lot_id: int
    number: str
    name: str
    held_at: datetime
    words: str | None
    pair_id: int
    code: str
    label: str
    clinic_id: int
    clinic: str
    stage: str | None
    end: str | None
    parked_by: int | None
    told_at: datetime | None
    told_by: str | None
    returned_at: datetime | None
    returned_by: str | None


_TOLD, _RETURNED = (Staff.metadata.tables["staff"].alias(name) for name in ("told", "returned"))
_NOTICES = (
    select(
        *(notice_t.c.hold_id, lot_t.c.id, lot_t.c.number, material_t.c.name, lot_hold_t.c.held_at, col(Note.words)),
        *(
            pair_t.c.id,
            pair_t.c.code,
            pair_t.c.label,
            pair_t.c.clinic_id,
            clinic_t.c.name,
            pair_t.c.stage,
            pair_t.c.end,
        ),
        *(notice_t.c.parked_by, notice_t.c.told_at, _TOLD.c.name, notice_t.c.returned_at, _RETURNED.c.name),
    )
    .join(lot_hold_t, lot_hold_t.c.id == notice_t.c.hold_id)
    .join(lot_t, lot_t.c.id == lot_hold_t.c.lot_id)
    .join(material_t, material_t.c.id == lot_t.c.material_id)
    .join(pair_t, pair_t.c.id == notice_t.c.pair_id)
    .join(clinic_t, clinic_t.c.id == pair_t.c.clinic_id)
    .join(Note, col(Note.id) == lot_hold_t.c.note_id)
    .join(_TOLD, _TOLD.c.id == notice_t.c.told_by, isouter=True)
    .join(_RETURNED, _RETURNED.c.id == notice_t.c.returned_by, isouter=True)
    .order_by(notice_t.c.hold_id.desc(), clinic_t.c.name, pair_t.c.code)
)


def notices(db: Session, *, hold_id: int | None = None, clinics: Collection[int] | None = None) -> list[NoticeRow]:
    """Who is to be told: of one hold, or of every lot that is held now at these clinics."""
    query = _NOTICES
    if hold_id is not None:
        query = query.where(notice_t.c.hold_id == hold_id)
    if clinics is not None:
        query = query.where(lot_hold_t.c.lifted_at.is_(None), pair_t.c.clinic_id.in_(list(clinics)))
    return [NoticeRow(*row) for row in db.execute(query)]


def wearers_to_tell(db: Session, clinics: Collection[int]) -> int:
    """Pairs with a held lot at these clinics whose wearers nobody has told."""
    query = (
        select(func.count())
        .select_from(lot_hold_t)
        .join(notice_t, notice_t.c.hold_id == lot_hold_t.c.id)
        .join(pair_t, pair_t.c.id == notice_t.c.pair_id)
        .where(lot_hold_t.c.lifted_at.is_(None), notice_t.c.told_at.is_(None), pair_t.c.clinic_id.in_(list(clinics)))
    )
    return int(db.execute(query).scalar_one())


NOT_GIVEN_OUT = ("withdrawn", "uncollected")
"""Ends after which no wearer has the pair."""


class Holding(NamedTuple):
    """A pair that a lot is in now."""

    pair_id: int
    code: str
    stage: str | None


def pairs_with_lot(db: Session, lot_id: int, *, lock: bool = False) -> list[Holding]:
    """Pairs that a lot is in now and whose wearers have them or will; by code. `lock` holds their rows."""
    there = select(use_t.c.pair_id).where(use_t.c.lot_id == lot_id, use_t.c.scrapped_at.is_(None))
    query = (
        select(pair_t.c.id, pair_t.c.code, pair_t.c.stage)
        .where(pair_t.c.id.in_(there), pair_t.c.end.is_(None) | pair_t.c.end.not_in(NOT_GIVEN_OUT))
        .order_by(pair_t.c.code)
    )
    return [Holding(*row) for row in db.execute(query.with_for_update() if lock else query)]
