"""One pair as the machine sees it, why it stands still, and which pairs belong together."""

from collections.abc import Collection
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import RowMapping, bindparam, func, select
from sqlmodel import Session, col

from app.bench.rules.machine import Hold as HoldState
from app.bench.rules.machine import State
from app.bench.rules.stages import Terms
from app.bench.tables import Hold, Move, Pair
from app.errors import NotFound
from app.journal.tables import Note
from app.orders.tables import Prescription
from app.people import queries as people
from app.people.rules import Role, Viewer
from app.people.tables import Clinic, Staff
from app.trade import codes

pair_t, visit_t, order_t, hold_t, clinic_t, belonging_t, item_t = (
    Pair.metadata.tables[name]
    for name in ("pair", "visit", "orders", "hold", "clinic", "belonging", "parcel_belonging")
)

SIDE_COLUMNS = {"L": "left", "R": "right"}


class Loaded(NamedTuple):
    """A pair's row, with what the machine needs of its visit and its order beside it."""

    row: RowMapping
    state: State


def find(db: Session, code: str, viewer: Viewer, *, lock: bool = False) -> Loaded:
    """The pair with this code if the viewer may know of it; another clinic's is not found. `lock` holds its row."""
    try:
        code = codes.parse(code)
    except ValueError as fault:
        raise NotFound(str(fault)) from None
    loaded = _load(db, "code", code, lock)
    if loaded is None or not sees(viewer, loaded.row["clinic_id"]):
        raise NotFound(f"There is no pair {code} here.")
    return loaded


def find_by_id(db: Session, pair_id: int, *, lock: bool = False) -> Loaded:
    loaded = _load(db, "id", pair_id, lock)
    if loaded is None:
        raise NotFound("This pair does not exist.")
    return loaded


def terms_of(db: Session, clinic_id: int) -> Terms:
    """How the lab and this clinic work at present; a visit keeps the terms it was started with."""
    clinic = db.get_one(Clinic, clinic_id)
    return Terms(frozenset(people.lab(db).stages_on), clinic.by_parcel, clinic.trims)


def sees(viewer: Viewer, clinic_id: int) -> bool:
    """Lab people see every pair, a clinician those of the own clinics."""
    return viewer.has(Role.TECHNICIAN, Role.MANAGER) or clinic_id in viewer.clinics


_PAIR = (
    select(
        *pair_t.c,
        order_t.c.patient_id,
        visit_t.c.route,
        visit_t.c.way,
        visit_t.c.number.label("visit_number"),
        visit_t.c.stages_on,
        visit_t.c.by_parcel,
        visit_t.c.trims_at_clinic,
    )
    .join(visit_t, visit_t.c.id == pair_t.c.visit_id)
    .join(order_t, order_t.c.id == pair_t.c.order_id)
)

# Built once: each act asks one of these.
_PLAIN = {by: _PAIR.where(pair_t.c[by] == bindparam("which")) for by in ("code", "id")}

_LOCKED = {by: query.with_for_update(of=pair_t) for by, query in _PLAIN.items()}


def _load(db: Session, by: str, which: str | int, lock: bool) -> Loaded | None:
    row = db.execute(_LOCKED[by] if lock else _PLAIN[by], {"which": which}).mappings().first()
    if row is None:
        return None
    sides = {side: row[f"{SIDE_COLUMNS[side]}_stage"] for side in row["all_sides"]} if row["stage"] else {}
    state = State(
        code=row["code"],
        sides=sides,
        all_sides=row["all_sides"],
        route=tuple(row["route"]),
        terms=Terms(frozenset(row["stages_on"]), row["by_parcel"], row["trims_at_clinic"]),
        reason=row["reason"],
        end=row["end"],
        holds=open_holds(db, row["id"]) if row["open_holds"] else (),
        version=row["version"],
    )
    return Loaded(row, state)


def open_holds(db: Session, pair_id: int) -> tuple[HoldState, ...]:
    rows = db.execute(
        select(col(Hold.id), col(Hold.kind), col(Hold.waiting_on), col(Hold.before))
        .where(col(Hold.pair_id) == pair_id, col(Hold.closed_by).is_(None))
        .order_by(col(Hold.id))
    )
    return tuple(HoldState(*row) for row in rows)


class HoldRow(NamedTuple):
    id: int
    kind: str
    reason: str | None
    waiting_on: str
    before: str | None
    since: datetime
    words: str | None
    by: str


def hold_rows(db: Session, pair_id: int) -> list[HoldRow]:
    """What is open on the pair, in words, oldest first."""
    rows = db.execute(
        select(
            hold_t.c.id,
            hold_t.c.kind,
            hold_t.c.reason,
            hold_t.c.waiting_on,
            hold_t.c.before,
            hold_t.c.opened_at,
            col(Note.words),
            col(Staff.name),
        )
        .join(Move, col(Move.id) == col(Hold.id))
        .join(Staff, col(Staff.id) == col(Move.staff_id))
        .join(Note, col(Note.id) == col(Hold.note_id), isouter=True)
        .where(col(Hold.pair_id) == pair_id, col(Hold.closed_by).is_(None))
        .order_by(col(Hold.id))
    )
    return [HoldRow(*row) for row in rows]


def codes_of(db: Session, ids: Collection[int], *, by: str = "id") -> dict[int, list[str]]:
    """The codes of these pairs, or `by` order_id those of these orders, in order."""
    found: dict[int, list[str]] = {}
    if ids:
        query = select(pair_t.c[by], pair_t.c.code).where(pair_t.c[by].in_(list(ids))).order_by(pair_t.c.code)
        for key, code in db.execute(query):
            found.setdefault(key, []).append(code)
    return found


class OfWearer(NamedTuple):
    code: str
    stage: str | None
    end: str | None


def of_wearer(db: Session, patient_id: int) -> list[OfWearer]:
    """Every pair of a wearer, open or ended, by code."""
    rows = db.execute(
        select(*(pair_t.c[name] for name in OfWearer._fields))
        .join(order_t, order_t.c.id == pair_t.c.order_id)
        .where(order_t.c.patient_id == patient_id)
        .order_by(pair_t.c.code)
    )
    return [OfWearer(*row) for row in rows]


def prescription_number(db: Session, order_id: int) -> int:
    last = select(func.max(col(Prescription.number))).where(col(Prescription.order_id) == order_id)
    return int(db.execute(last).scalar_one() or 0)
