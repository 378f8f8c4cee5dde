"""Reading pairs: one pair as the machine sees it, a stage's queue, the counts, a pair's history."""

import base64
import json
from collections.abc import Collection, Sequence
from datetime import date, datetime
from typing import Any, NamedTuple

from sqlalchemy import Integer, RowMapping, bindparam, func, select, tuple_
from sqlmodel import Session, col

from app import clock
from app.bench.rules.machine import Hold as HoldState
from app.bench.rules.machine import State
from app.bench.rules.replay import Step
from app.bench.rules.stages import Terms
from app.bench.tables import Hold, Move, Pair, Parcel, ParcelItem, Stay
from app.errors import BadInput, NotFound
from app.journal.tables import Note
from app.orders.tables import Patient, Prescription
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
        holds=open_holds(db, row["id"]) if row["parked_on"] else (),
        version=row["version"],
    )
    return Loaded(row, state)


def open_holds(db: Session, pair_id: int) -> tuple[HoldState, ...]:
    rows = db.execute(
        select(col(Hold.id), col(Hold.kind), col(Hold.waiting_on))
        .where(col(Hold.pair_id) == pair_id, col(Hold.closed_by).is_(None))
        .order_by(col(Hold.id))
    )
    return tuple(HoldState(*row) for row in rows)


class HoldRow(NamedTuple):
    id: int
    kind: str
    reason: str | None
    waiting_on: str
    since: datetime
    words: str | None
    by: str


def hold_rows(db: Session, pair_id: int) -> list[HoldRow]:
    """Why the pair stands still, in words, oldest first."""
    rows = db.execute(
        select(
            hold_t.c.id,
            hold_t.c.kind,
            hold_t.c.reason,
            hold_t.c.waiting_on,
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


class QueueRow(NamedTuple):
    code: str
    label: str
    clinic: str
    all_sides: str
    left_stage: str | None
    right_stage: str | None
    reason: str
    needs: list[str]
    due_on: date
    promised_on: date | None
    since: datetime
    place: str
    parked_on: str | None
    not_before: datetime | None
    rush: bool
    tray: int | None
    version: int
    id: int
    clinic_id: int
    by_parcel: bool


_OF_CLINIC = {"clinic": clinic_t.c.name, "by_parcel": clinic_t.c.by_parcel}
QUEUE_COLUMNS = tuple(_OF_CLINIC[name] if name in _OF_CLINIC else pair_t.c[name] for name in QueueRow._fields)
# A statement is as dear to build as to run: what every page asks is built once, with its values left open.
_ROWS = select(*QUEUE_COLUMNS).join(clinic_t, clinic_t.c.id == pair_t.c.clinic_id)
_WORKABLE = (pair_t.c.not_before.is_(None)) | (pair_t.c.not_before <= bindparam("now"))
_QUEUE = (
    _ROWS.where(pair_t.c.stage == bindparam("stage"), _WORKABLE)
    .order_by(pair_t.c.due_on, pair_t.c.since, pair_t.c.id)
    .limit(bindparam("limit", type_=Integer))
)
_SETTING = (
    _ROWS.where(pair_t.c.stage == bindparam("stage"), pair_t.c.not_before > bindparam("now"))
    .order_by(pair_t.c.not_before)
    .limit(200)
)


def queue(
    db: Session, stage: str, *, clinics: Collection[int] | None, after: str | None = None, limit: int = 50
) -> tuple[list[QueueRow], str | None]:
    """A stage's pairs in the order to work, and the cursor of the next page.

    `clinics` narrows to a clinician's own; None is the whole lab. What is still setting is left to `setting`.
    """
    query = _QUEUE
    if clinics is not None:
        query = query.where(pair_t.c.clinic_id.in_(list(clinics)))
    if after:
        due, since, last = _read_cursor(after)
        query = query.where(tuple_(pair_t.c.due_on, pair_t.c.since, pair_t.c.id) > tuple_(due, since, last))
    asked = {"stage": stage, "now": clock.now(), "limit": limit + 1}
    rows = [QueueRow(*row) for row in db.execute(query, asked).all()]
    more = rows[limit - 1] if len(rows) > limit else None
    return rows[:limit], _cursor(more.due_on, more.since, more.id) if more else None


def setting(db: Session, stage: str, *, clinics: Collection[int] | None) -> list[QueueRow]:
    """Pairs of a stage that can't be worked yet: plaster or glue is setting. Soonest first; never many."""
    query = _SETTING if clinics is None else _SETTING.where(pair_t.c.clinic_id.in_(list(clinics)))
    return [QueueRow(*row) for row in db.execute(query, {"stage": stage, "now": clock.now()})]


def open_pairs(
    db: Session, *, clinics: Collection[int] | None, after: str | None = None, limit: int = 50
) -> tuple[list[QueueRow], str | None]:
    """Open pairs over all stages by id, for programs."""
    query = (
        select(*QUEUE_COLUMNS)
        .join(clinic_t, clinic_t.c.id == pair_t.c.clinic_id)
        .where(pair_t.c.stage.is_not(None), pair_t.c.id > int(_read_cursor(after)[2] if after else 0))
        .order_by(pair_t.c.id)
        .limit(limit + 1)
    )
    if clinics is not None:
        query = query.where(pair_t.c.clinic_id.in_(list(clinics)))
    rows = [QueueRow(*row) for row in db.execute(query)]
    more = rows[limit - 1] if len(rows) > limit else None
    return rows[:limit], _cursor(more.due_on, more.since, more.id) if more else None


def by_label(db: Session, start: str, *, clinics: Collection[int] | None, most: int = 50) -> list[QueueRow]:
    """Pairs of wearers whose label begins with `start`, newest first, ended ones too."""
    key = codes.normalise(start)
    if not key:
        return []
    query = (
        select(*QUEUE_COLUMNS)
        .join(clinic_t, clinic_t.c.id == pair_t.c.clinic_id)
        .join(order_t, order_t.c.id == pair_t.c.order_id)
        .join(Patient, col(Patient.id) == order_t.c.patient_id)
        .where(col(Patient.label_key) >= key, col(Patient.label_key) < key + "\uffff")
        .order_by(pair_t.c.id.desc())
        .limit(most)
    )
    if clinics is not None:
        query = query.where(pair_t.c.clinic_id.in_(list(clinics)))
    return [QueueRow(*row) for row in db.execute(query)]


class Waiting(NamedTuple):
    """Pairs that can be worked, the oldest since when, and beside them those that are setting."""

    pairs: int
    oldest: datetime
    setting: int


class Count(NamedTuple):
    pairs: int
    oldest: datetime
    setting: int
    parked: int

    @property
    def open(self) -> int:
        return self.pairs + self.setting


# Nothing but what the queue's own index holds: the table itself is not touched.
_SINCE = func.min(pair_t.c.since)
_WAITING = (
    select(
        pair_t.c.stage,
        func.count().filter(_WORKABLE),
        func.coalesce(_SINCE.filter(_WORKABLE), _SINCE),
        func.count().filter(~_WORKABLE),
    )
    .where(pair_t.c.stage.is_not(None))
    .group_by(pair_t.c.stage)
)
_COUNTS = _WAITING.add_columns(func.count(pair_t.c.parked_on))


def waiting(db: Session, *, clinics: Collection[int] | None) -> dict[str, Waiting]:
    """How many open pairs wait at each stage, and since when the oldest does; what is setting is counted apart."""
    query = _WAITING if clinics is None else _WAITING.where(pair_t.c.clinic_id.in_(list(clinics)))
    return {row[0]: Waiting(*row[1:]) for row in db.execute(query, {"now": clock.now()})}


def counts(db: Session, *, clinics: Collection[int] | None) -> dict[str, Count]:
    """The same, and how many of them stand still."""
    query = _COUNTS if clinics is None else _COUNTS.where(pair_t.c.clinic_id.in_(list(clinics)))
    return {row[0]: Count(*row[1:]) for row in db.execute(query, {"now": clock.now()})}


class MoveRow(NamedTuple):
    """One line of a pair's history, newest first."""

    id: int
    act: str
    from_stage: str | None
    to_stage: str | None
    sides: str
    reason: str | None
    words: str | None
    by: str
    staff_id: int
    at: datetime
    done_at: datetime
    together: bool
    takes_back: int | None
    facts: dict[str, Any]
    version: int


def history(db: Session, pair_id: int) -> list[MoveRow]:
    rows = db.execute(
        select(
            col(Move.id),
            col(Move.act),
            col(Move.from_stage),
            col(Move.to_stage),
            col(Move.sides),
            col(Move.reason),
            col(Note.words),
            col(Staff.name),
            col(Move.staff_id),
            col(Move.at),
            col(Move.done_at),
            col(Move.together),
            col(Move.takes_back),
            col(Move.facts),
            col(Move.version),
        )
        .join(Staff, col(Staff.id) == col(Move.staff_id))
        .join(Note, col(Note.id) == col(Move.note_id), isouter=True)
        .where(col(Move.pair_id) == pair_id)
        .order_by(col(Move.id).desc())
    )
    return [MoveRow(*row) for row in rows]


def steps(db: Session, pair_id: int) -> list[Step]:
    """A pair's moves from the first, for walking them again."""
    rows = db.execute(
        select(
            col(Move.id),
            col(Move.act),
            col(Move.from_stage),
            col(Move.to_stage),
            col(Move.sides),
            col(Move.done_at),
            col(Move.takes_back),
            col(Move.facts),
        )
        .where(col(Move.pair_id) == pair_id)
        .order_by(col(Move.id))
    )
    return [Step(*row) for row in rows]


def last_move(db: Session, pair_id: int) -> MoveRow | None:
    rows = history(db, pair_id)
    return rows[0] if rows else None


def stays(db: Session, pair_id: int) -> Sequence[Stay]:
    return db.execute(select(Stay).where(col(Stay.pair_id) == pair_id)).scalars().all()


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


def travelled(db: Session, order_ids: Collection[int]) -> tuple[list[int], list[int]]:
    """The pairs of these orders, and the parcels that they were ever in."""
    rows = db.execute(
        select(pair_t.c.id, col(ParcelItem.parcel_id))
        .join(ParcelItem, col(ParcelItem.pair_id) == pair_t.c.id, isouter=True)
        .where(pair_t.c.order_id.in_(list(order_ids)))
    ).all()
    return sorted({row[0] for row in rows}), sorted({row[1] for row in rows if row[1] is not None})


def prescription_number(db: Session, order_id: int) -> int:
    last = select(func.max(col(Prescription.number))).where(col(Prescription.order_id) == order_id)
    return int(db.execute(last).scalar_one() or 0)


def _cursor(due: date, since: datetime, last: int) -> str:
    words = json.dumps([due.isoformat(), since.isoformat(), last]).encode()
    return base64.urlsafe_b64encode(words).decode().rstrip("=")


def _read_cursor(text: str) -> tuple[date, datetime, int]:
    try:
        due, since, last = json.loads(base64.urlsafe_b64decode(text + "=" * (-len(text) % 4)))
        return date.fromisoformat(due), datetime.fromisoformat(since), int(last)
    except (ValueError, TypeError):
        raise BadInput(
            "This cursor is not one that Pairtrail gave out.", {"after": "Start again without it."}
        ) from None
