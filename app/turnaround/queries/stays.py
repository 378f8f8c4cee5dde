"""Stays that are over, read from the database with everything they can be filtered by, as rows for columns.

A stay counts for the clinic that the pair belonged to when it ended, for the shell that was prescribed then, and for
the visit it was part of: what happens to the pair later changes none of them.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Row, Select, and_, bindparam, case, func, select
from sqlmodel import Session

from app.bench.queries import hold_t, order_t, pair_t, visit_t
from app.bench.queries.moves import move_t
from app.bench.queries.station import stay_t
from app.bench.rules.acts import WAITING_ON
from app.bench.rules.stages import STAGES, WAYS
from app.orders.tables import Prescription
from app.people.queries import Counted
from app.turnaround.rules import too_late
from app.turnaround.rules.columns import (
    KEPT,
    LATE,
    NO_PROMISE,
    PLACE,
    REASONS,
    SHELLS,
    WAY,
    Columns,
    Of,
    Stayed,
    code,
    columns,
)
from app.turnaround.rules.lying import Hold, parked_minutes, worked_minutes

BATCH = 20_000
"""Stays of which holds, starts and prescriptions are looked up at once."""
NOT_DONE = frozenset({"withdraw", "uncollected"})
"""Acts that end a stay without its work being done: it lasted longer than this, and how long will never be known."""
CHUNK = 2000
"""Ids in one statement."""
prescription_t = Prescription.metadata.tables["prescription"]
_before_t = visit_t.alias()
_ENDS_A_VISIT = and_(
    _before_t.c.pair_id == visit_t.c.pair_id,
    _before_t.c.number == visit_t.c.number - 1,
    move_t.c.act.in_(("adjust", "refurbish")),
)
"""The move that begins a visit ends the last stay of the one before."""
_STAYS = (
    select(
        *(stay_t.c[name] for name in ("move_id", "side", "pair_id", "stage", "month", "minutes")),
        *(stay_t.c[name] for name in ("entered_at", "left_at")),
        move_t.c.act,
        visit_t.c.way,
        visit_t.c.started_at,
        func.coalesce(_before_t.c.reason, visit_t.c.reason).label("reason"),
        *(pair_t.c[name] for name in ("all_sides", "clinic_id", "order_id")),
        case((visit_t.c.id == pair_t.c.visit_id, pair_t.c.promised_on), else_=visit_t.c.promised_on).label(
            "promised_on"
        ),
        order_t.c.clinic_id.label("first_clinic"),
    )
    .join(move_t, move_t.c.id == stay_t.c.move_id)
    .join(visit_t, visit_t.c.id == move_t.c.visit_id)
    .join(pair_t, pair_t.c.id == stay_t.c.pair_id)
    .join(order_t, order_t.c.id == pair_t.c.order_id)
    .join(_before_t, _ENDS_A_VISIT, isouter=True)
    .where(stay_t.c.calendar_id == bindparam("calendar"), stay_t.c.move_id > bindparam("after"))
    .order_by(stay_t.c.move_id, stay_t.c.side)
)
Bit = Row[Any]


def since_move(db: Session, counted: Counted, after: int, since_month: int) -> Columns:
    """Every stay whose move came after `after` and that ended in `since_month` or later."""
    query = _STAYS.where(stay_t.c.month >= since_month)
    return columns([each for _, each in _read(db, counted, query, after)])


def by_month(db: Session, counted: Counted, after: int, upto: int) -> dict[int, list[Stayed]]:
    """The stays of the moves after `after` up to `upto`, by the month in which they ended."""
    found: dict[int, list[Stayed]] = defaultdict(list)
    for month, each in _read(db, counted, _STAYS.where(stay_t.c.move_id <= upto), after):
        found[month].append(each)
    return found


def _read(db: Session, counted: Counted, query: Select[Any], after: int) -> Iterator[tuple[int, Stayed]]:
    rows = db.execute(query, {"calendar": counted.calendar_id, "after": after}).all()
    for first in range(0, len(rows), BATCH):
        yield from _Reading(db, counted, rows[first : first + BATCH]).stays()


class _Reading:
    """Some stays, and beside them all that has to be known of their pairs."""

    def __init__(self, db: Session, counted: Counted, rows: Sequence[Bit]) -> None:
        self.db, self.rows = db, rows
        self.hours, self.zone = counted.hours, ZoneInfo(counted.hours.zone)
        pairs = {row.pair_id for row in rows}
        self.holds = _holds(db, pairs)
        self.starts = _starts(db, pairs)
        self.shells = _shells(db, {row.order_id for row in rows})
        self.transfers = _transfers(db, {row.pair_id for row in rows if row.clinic_id != row.first_clinic})
        self.stood = stood(db, {row.pair_id for row in rows if row.stage == "dispense"})

    def stays(self) -> Iterator[tuple[int, Stayed]]:
        by_move: dict[int, list[Bit]] = {}
        for row in self.rows:
            by_move.setdefault(row.move_id, []).append(row)
        for sides in by_move.values():
            for row in sides:
                yield row.month, self._stay(row)
            if (way := self._way(sides)) is not None:
                yield sides[0].month, way

    def _stay(self, row: Bit) -> Stayed:
        bench = STAGES[row.stage].bench if row.stage in STAGES else True
        measure = self.hours.minutes_between if bench else _by_clock
        holds = self.holds.get(row.pair_id, ())
        return Stayed(
            PLACE[row.stage],
            row.minutes,
            epoch(row.entered_at),
            epoch(row.left_at),
            row.pair_id,
            self._of(row),
            row.act not in NOT_DONE,
            worked=worked_minutes(
                self.starts.get(row.pair_id, ()), holds, row.stage, row.entered_at, row.left_at, measure
            ),
            parked=tuple(parked_minutes(holds, row.stage, row.entered_at, row.left_at, measure)),
        )

    def _of(self, row: Bit) -> Of:
        changes = self.transfers.get(row.pair_id, ())
        clinic = next((to for move_id, to in reversed(changes) if move_id < row.move_id), row.first_clinic)
        shell = next((shell for made_at, shell in self.shells[row.order_id] if made_at <= row.left_at), None)
        return Of(clinic, code(row.way, WAYS), code(row.reason, REASONS), code(shell, SHELLS), len(row.all_sides))

    def _way(self, sides: Sequence[Bit]) -> Stayed | None:
        """The whole way, over when the pair leaves To dispense other than back to the lab, or cut off before it."""
        row = sides[0]
        arrived = row.stage == "dispense"
        if row.act == "send_back" if arrived else row.act != "withdraw" or row.stage == "wear_in":
            return None
        ended = max(each.entered_at for each in sides) if arrived else row.left_at
        return Stayed(
            PLACE[WAY],
            _by_clock(row.started_at, ended),
            epoch(row.started_at),
            epoch(ended),
            row.pair_id,
            self._of(row),
            arrived,
            self._kept(row) if arrived else NO_PROMISE,
        )

    def _kept(self, row: Bit) -> int:
        return kept_or_not(
            row.promised_on, row.started_at, (*self.stood.get(row.pair_id, ()), row.entered_at), self.zone
        )


def kept_or_not(promised: date | None, started: datetime, stood: Iterable[datetime], zone: ZoneInfo) -> int:
    """By when a pair first stood at To dispense since its visit started; an earlier promise says nothing of it."""
    if promised is None or promised < started.astimezone(zone).date():
        return NO_PROMISE
    return KEPT if min(at for at in stood if at >= started) < too_late(promised, zone.key) else LATE


def epoch(at: datetime) -> int:
    """Whole minutes since 1970."""
    return int(at.timestamp() // 60)


def _by_clock(start: datetime, end: datetime) -> int:
    return max(0, int((end - start).total_seconds() // 60))


def in_chunks(ids: Iterable[int]) -> Iterator[list[int]]:
    listed = sorted(ids)
    for first in range(0, len(listed), CHUNK):
        yield listed[first : first + CHUNK]


def _holds(db: Session, pairs: Iterable[int]) -> dict[int, list[Hold]]:
    """Why each pair stood still, the first opened first."""
    found: dict[int, list[Hold]] = defaultdict(list)
    wanted = [hold_t.c[name] for name in ("pair_id", "waiting_on", "before", "opened_at", "closed_at")]
    for some in in_chunks(pairs):
        for pair_id, on, before, opened, closed in db.execute(
            select(*wanted).where(hold_t.c.pair_id.in_(some)).order_by(hold_t.c.id)
        ):
            found[pair_id].append(Hold(code(on, WAITING_ON), before, opened, closed))
    return found


def _starts(db: Session, pairs: Iterable[int]) -> dict[int, list[tuple[str, str | None, datetime]]]:
    """When somebody began work and put it down, with the stage; nothing where the lab does not record it."""
    found: dict[int, list[tuple[str, str | None, datetime]]] = defaultdict(list)
    wanted = [move_t.c[name] for name in ("pair_id", "act", "from_stage", "done_at")]
    for some in in_chunks(pairs):
        mine = (move_t.c.pair_id.in_(some), move_t.c.act.in_(("start", "put_down")))
        for pair_id, *bits in db.execute(select(*wanted).where(*mine).order_by(move_t.c.id)):
            found[pair_id].append((bits[0], bits[1], bits[2]))
    return found


def _shells(db: Session, orders: Iterable[int]) -> dict[int, list[tuple[datetime, str | None]]]:
    """The shell of each version of a prescription, the newest first; the left's, where the sides differ."""
    found: dict[int, list[tuple[datetime, str | None]]] = defaultdict(list)
    for some in in_chunks(orders):
        for order_id, made_at, body in db.execute(
            select(prescription_t.c.order_id, prescription_t.c.made_at, prescription_t.c.body)
            .where(prescription_t.c.order_id.in_(some))
            .order_by(prescription_t.c.number.desc())
        ):
            found[order_id].append((made_at, shell_of(body)))
    return found


def shell_of(body: dict[str, dict[str, Any]]) -> str | None:
    return next((body[side].get("shell") for side in ("L", "R") if side in body), None)


def _transfers(db: Session, pairs: Iterable[int]) -> dict[int, list[tuple[int, int]]]:
    """The moves by which each pair came to another clinic, with that clinic, in their order."""
    found: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for some in in_chunks(pairs):
        mine = (move_t.c.pair_id.in_(some), move_t.c.act == "transfer")
        for pair_id, move_id, facts in db.execute(
            select(move_t.c.pair_id, move_t.c.id, move_t.c.facts).where(*mine).order_by(move_t.c.id)
        ):
            found[pair_id].append((move_id, int(facts.get("clinic") or 0)))
    return found


def stood(db: Session, pairs: Iterable[int]) -> dict[int, list[datetime]]:
    """When each pair came to stand at To dispense, every time that it did and has left it; in any calendar's stays."""
    found: dict[int, list[datetime]] = defaultdict(list)
    for some in in_chunks(pairs):
        # By their pairs: SQLite would rather look through all stays of the stage, which has an index.
        mine = (stay_t.c.pair_id.in_(some), stay_t.c.stage.concat("") == "dispense")
        # The later of two sides: a pair stands there when all of it does.
        by_move = select(stay_t.c.pair_id, func.max(stay_t.c.entered_at)).where(*mine)
        for pair_id, at in db.execute(by_move.group_by(stay_t.c.pair_id, stay_t.c.move_id)):
            found[pair_id].append(at)
    return found
