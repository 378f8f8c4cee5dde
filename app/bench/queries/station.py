"""What a bench reads: one pair, the open pairs of its stage, and how its day goes."""

from collections.abc import Collection
from datetime import date, datetime
from typing import NamedTuple

from sqlalchemy import Select, bindparam, distinct, func, select
from sqlmodel import Session

from app.bench.queries.pairs import clinic_t, pair_t, visit_t
from app.bench.tables import Stay
from app.orders.tables import Prescription
from app.people import queries as people

stay_t = Stay.metadata.tables["stay"]
prescription_t = Prescription.metadata.tables["prescription"]


class StationRow(NamedTuple):
    id: int
    code: str
    order_id: int
    clinic_id: int
    label: str
    clinic: str
    by_parcel: bool
    tray: int | None
    all_sides: str
    left_stage: str | None
    right_stage: str | None
    needs: list[str]
    rush: bool
    reason: str
    version: int
    stage: str | None
    end: str | None
    place: str
    parked_on: str | None
    not_before: datetime | None
    due_on: date
    route: list[str]
    ticket: int
    """The number of the prescription that holds."""


_TICKET = (
    select(func.max(prescription_t.c.number)).where(prescription_t.c.order_id == pair_t.c.order_id).scalar_subquery()
)
_ELSEWHERE = {"clinic": clinic_t.c.name, "by_parcel": clinic_t.c.by_parcel, "route": visit_t.c.route, "ticket": _TICKET}
_ROWS: Select[tuple[object, ...]] = (
    select(*(_ELSEWHERE[name] if name in _ELSEWHERE else pair_t.c[name] for name in StationRow._fields))
    .join(clinic_t, clinic_t.c.id == pair_t.c.clinic_id)
    .join(visit_t, visit_t.c.id == pair_t.c.visit_id)
)
_ONE = _ROWS.where(pair_t.c.code == bindparam("code"))
_OF_STAGE = (
    _ROWS.where(pair_t.c.stage == bindparam("stage"))
    .order_by(pair_t.c.due_on, pair_t.c.since, pair_t.c.id)
    .limit(bindparam("most"))
)


def at_station(db: Session, code: str) -> StationRow | None:
    """The pair with this code, whoever may see it."""
    row = db.execute(_ONE, {"code": code}).first()
    return StationRow(*row) if row else None


def held_by_station(db: Session, stage: str, *, clinics: Collection[int] | None, most: int) -> list[StationRow]:
    """The first open pairs of a stage in the order to work, those that set or stand still among them."""
    query = _OF_STAGE if clinics is None else _OF_STAGE.where(pair_t.c.clinic_id.in_(list(clinics)))
    return [StationRow(*row) for row in db.execute(query, {"stage": stage, "most": most})]


def left_since(db: Session, stage: str, since: datetime, month: int) -> int:
    """How many pairs have had this stage's work done since then, which lies in `month`; what was booked together with
    other work is not among them."""
    query = select(func.count(distinct(stay_t.c.pair_id))).where(
        stay_t.c.calendar_id == people.counted(db).calendar_id,
        stay_t.c.stage == stage,
        stay_t.c.month == month,
        stay_t.c.left_at >= since,
    )
    return int(db.execute(query).scalar_one())
