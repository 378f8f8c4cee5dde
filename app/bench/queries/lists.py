"""Lists of pairs: a stage's queue, the counts, every open pair, the pairs of a label; each a page at a time."""

import base64
import json
from collections.abc import Collection
from datetime import date, datetime
from typing import NamedTuple

from sqlalchemy import Integer, bindparam, func, select, tuple_
from sqlmodel import Session, col

from app import clock
from app.bench.queries.pairs import clinic_t, order_t, pair_t
from app.errors import BadInput
from app.orders.tables import Patient
from app.trade import codes


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
