"""All stays of a period as columns: what the worker has put together by month, and what came since, read live.

With and without the worker the answer is the same. Months that were read stay in the process, as they are written
once and then hardly ever again.
"""

import threading
from collections import OrderedDict
from collections.abc import Callable, Collection, Sequence
from datetime import datetime, timedelta
from typing import Any, Generic, NamedTuple, TypeVar

from sqlalchemy import func, select
from sqlmodel import Session

from app import clock
from app.bench.queries.moves import move_t
from app.bench.queries.station import stay_t
from app.people.queries import Counted
from app.turnaround.queries.stays import since_move
from app.turnaround.rules.asked import Asked
from app.turnaround.rules.columns import LAYOUT, Columns, read
from app.turnaround.rules.past import Past
from app.turnaround.tables import MonthColumns

RIPE = timedelta(minutes=15)
"""A move so old can no longer be taken back, and no transaction that is older than it is still under way."""
WORTH = 300
"""Stays that are read one by one in some 10 ms; more are put together."""
MOST_BYTES = 96 * 2**20
"""Kept in a process: a lab of 200,000 pairs a year has some 50 MB of them a year."""
MOST_ASKED = 12
"""Things asked, whose figures of what is over are kept: some megabytes each."""
month_t = MonthColumns.metadata.tables["month_columns"]


class Known(NamedTuple):
    """A month that was put together, without its columns."""

    month: int
    upto_move: int
    stays: int
    made_at: datetime


Key = TypeVar("Key")
Value = TypeVar("Value")
_WITHOUT = tuple(month_t.c[name] for name in Known._fields)


class _Kept(Generic[Key, Value]):
    """What was used last, as long as it is not too much."""

    def __init__(self, too_much: Callable[[Collection[Value]], bool]) -> None:
        self._turn = threading.Lock()
        self._kept: OrderedDict[Key, Value] = OrderedDict()
        self._too_much = too_much

    def find(self, key: Key) -> Value | None:
        with self._turn:
            if key in self._kept:
                self._kept.move_to_end(key)
            return self._kept.get(key)

    def put(self, key: Key, value: Value) -> None:
        with self._turn:
            self._kept[key] = value
            while self._too_much(self._kept.values()) and len(self._kept) > 1:
                self._kept.popitem(last=False)


_months = _Kept[tuple[int, Known], Columns](lambda kept: sum(each.size for each in kept) > MOST_BYTES)
_pasts = _Kept[tuple[Any, ...], Past](lambda kept: len(kept) > MOST_ASKED)


def stays_of(db: Session, counted: Counted, asked: Asked, begins: int, ends: int) -> tuple[Past, Past]:
    """Every stay that ended in the first month of what is asked or later: those put together, and those since."""
    while True:
        known = known_months(db, counted.calendar_id)
        past = _past(
            db, counted.calendar_id, [each for each in known if each.month >= asked.first], asked, begins, ends
        )
        if past is not None:
            lately = since_move(db, counted, upto(known), asked.first)
            return past, Past([lately], asked, begins, ends)
        # The worker wrote a month anew between two of these statements.
        db.rollback()


def _past(db: Session, calendar_id: int, known: Sequence[Known], asked: Asked, begins: int, ends: int) -> Past | None:
    """With the figures that are known of it since somebody asked the same."""
    key = (calendar_id, tuple(known), asked.stays, begins, ends)
    kept = _pasts.find(key)
    if kept is not None:
        return kept
    parts = [_columns(db, calendar_id, each) for each in known]
    whole = [part for part in parts if part is not None]
    if len(whole) < len(parts):
        return None
    found = Past(whole, asked, begins, ends)
    _pasts.put(key, found)
    return found


def known_months(db: Session, calendar_id: int) -> list[Known]:
    mine = (month_t.c.calendar_id == calendar_id, month_t.c.layout == LAYOUT)
    return [Known(*row) for row in db.execute(select(*_WITHOUT).where(*mine).order_by(month_t.c.month))]


def upto(known: list[Known]) -> int:
    """Up to which move all stays are in these months."""
    return max((each.upto_move for each in known), default=0)


def ripe_upto(db: Session, after: int, most: int) -> int:
    """The last move up to `most` that is old enough, and so is every one between it and `after`."""
    young = (move_t.c.id > after, move_t.c.id <= most, move_t.c.at > clock.now() - RIPE)
    first = db.execute(select(func.min(move_t.c.id)).where(*young)).scalar_one()
    return most if first is None else first - 1


def waits_for_columns(db: Session, calendar_id: int) -> bool:
    """Whether so many stays are in no month yet that putting them together is worth it."""
    after = upto(known_months(db, calendar_id))
    new = select(stay_t.c.move_id).where(stay_t.c.calendar_id == calendar_id, stay_t.c.move_id > after)
    nth = db.execute(new.order_by(stay_t.c.move_id).offset(WORTH - 1).limit(1)).scalar_one_or_none()
    return nth is not None and ripe_upto(db, after, nth) == nth


def _columns(db: Session, calendar_id: int, known: Known) -> Columns | None:
    """None when it is no longer there as it was known."""
    kept = _months.find((calendar_id, known))
    if kept is not None:
        return kept
    row = db.execute(
        select(*_WITHOUT, month_t.c.columns).where(
            month_t.c.calendar_id == calendar_id, month_t.c.month == known.month, month_t.c.layout == LAYOUT
        )
    ).first()
    if row is None or Known(*row[:-1]) != known:
        return None
    found = read(row.columns)
    _months.put((calendar_id, known), found)
    return found
