"""What is not over: every side that stands somewhere now and every visit on its way, as columns like the stays."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from functools import cache
from itertools import repeat
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from sqlalchemy import Integer, Row, select
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.compiler import SQLCompiler
from sqlalchemy.sql.functions import FunctionElement
from sqlmodel import Session

from app import clock
from app.bench.queries import pair_t, visit_t
from app.bench.rules.acts import WAITING_ON
from app.bench.rules.stages import STAGES, WAYS
from app.people.queries import Counted
from app.turnaround.queries.stays import kept_or_not, prescription_t, shell_of, stood
from app.turnaround.rules import too_late
from app.turnaround.rules.columns import KEPT, NO_PROMISE, OTHER, PLACE, REASONS, SHELLS, WAY, Numbers, code
from app.turnaround.rules.times import NOBODY, Standing

_WAYS, _REASONS, _WAITING = ({name: place for place, name in enumerate(each)} for each in (WAYS, REASONS, WAITING_ON))
_OPEN = pair_t.c.stage.is_not(None)


class _Seconds(FunctionElement[int]):
    """Since 1970, as a plain number: tens of thousands of instants are dear to make."""

    type = Integer()
    inherit_cache = True


@compiles(_Seconds)
def _of_epoch(element: _Seconds, compiler: SQLCompiler, **words: Any) -> str:
    return f"CAST(EXTRACT(epoch FROM {compiler.process(element.clauses, **words)}) AS INTEGER)"


@compiles(_Seconds, "sqlite")
def _of_sqlite(element: _Seconds, compiler: SQLCompiler, **words: Any) -> str:
    """A fifth of the query's time less than by strftime, which SQLAlchemy would take."""
    return f"unixepoch({compiler.process(element.clauses, **words)})"


_ROWS = (
    select(
        *(
            pair_t.c[name]
            for name in ("id", "order_id", "clinic_id", "reason", "all_sides", "stage", "parked_on", "promised_on")
        ),
        *(pair_t.c[name] for name in ("left_stage", "right_stage")),
        *(_Seconds(pair_t.c[name]).label(name) for name in ("left_since", "right_since", "since", "not_before")),
        visit_t.c.way,
        _Seconds(visit_t.c.started_at).label("started_at"),
    )
    .join(visit_t, visit_t.c.id == pair_t.c.visit_id)
    .where(_OPEN)
)
_SHELLS = (
    select(prescription_t.c.order_id, prescription_t.c.body)
    .join(pair_t, pair_t.c.order_id == prescription_t.c.order_id)
    .where(_OPEN)
    .order_by(prescription_t.c.number)
)


def standing(db: Session, counted: Counted, *, shells: bool = False, at: str | None = None) -> Standing:
    """Everywhere, or at one stage. The shells are looked up where somebody asks for one: they are in prescriptions."""
    rows = db.execute(_ROWS if at is None else _ROWS.where(pair_t.c.stage == at)).all()
    shell = {order: code(shell_of(body), SHELLS) for order, body in db.execute(_SHELLS)} if shells else {}
    now, today = int(clock.now().timestamp() // 60), clock.today(counted.hours.zone)
    pairs = _Pairs(rows)
    here = pairs.coded("stage", PLACE)
    before_it = ~np.isin(here, (PLACE["dispense"], PLACE["wear_in"]))
    which, place, entered = _places(pairs, here)
    ways = place == PLACE[WAY]
    kept, since = pairs.coded("id", _kept(db, counted, rows), NO_PROMISE), pairs.minutes("since")
    arrived = np.where(ways & (here == PLACE["dispense"])[which], since[which], 0)
    each = (
        pairs.whole("clinic_id"),
        pairs.coded("way", _WAYS),
        pairs.coded("reason", _REASONS),
        pairs.coded("order_id", shell),
        pairs.coded("all_sides", {"L": 1, "R": 1, "LR": 2}),
        pairs.whole("id"),
        pairs.coded("parked_on", _WAITING, NOBODY),
        before_it & np.fromiter((day is not None and day < today for day in pairs.of["promised_on"]), bool, len(rows)),
    )
    minutes = _minutes(counted, place, entered, arrived, now)
    columns = [column.astype(np.int64)[which] for column in each]
    return Standing._make([place, minutes, entered, *columns, arrived, np.where(ways, kept[which], NO_PROMISE)])


class _Pairs:
    """What stands somewhere, by columns: thousands of rows one by one would be the larger part of a page's time."""

    def __init__(self, rows: Sequence[Row[Any]]) -> None:
        self.count = len(rows)
        columns = zip(*rows, strict=True) if rows else repeat(())
        self.of = dict(zip(_ROWS.selected_columns.keys(), columns, strict=False))

    def whole(self, name: str) -> Numbers:
        # Of floats, None is nan; seconds since 1970 are whole in them, too.
        return np.nan_to_num(np.array(self.of[name], dtype=np.float64)).astype(np.int64)

    def minutes(self, name: str) -> Numbers:
        found: Numbers = self.whole(name) // 60
        return found

    def coded(self, name: str, codes: Mapping[Any, int], other: int = OTHER) -> Numbers:
        return np.fromiter(map(codes.get, self.of[name], repeat(other)), np.int64, self.count)


def _places(pairs: _Pairs, here: Numbers) -> tuple[Numbers, Numbers, Numbers]:
    """Of each side, and of each visit that is not over: which pair it is, where, and since when."""
    sets, found = pairs.minutes("not_before"), []
    for side in ("left", "right"):
        place, came = pairs.coded(f"{side}_stage", PLACE, -1), pairs.minutes(f"{side}_since")
        # What sets can't be worked: as in a stay, the time counts from when it could.
        entered = np.where(place == here, np.maximum(came, sets), came)
        which = np.flatnonzero(place >= 0)
        found.append((which, place[which], np.minimum(entered[which], int(clock.now().timestamp() // 60))))
    which = np.flatnonzero(here != PLACE["wear_in"])
    found.append((which, np.full(len(which), PLACE[WAY]), pairs.minutes("started_at")[which]))
    which, place, entered = (np.concatenate(each) for each in zip(*found, strict=True))
    return which, place, entered


def _kept(db: Session, counted: Counted, rows: Sequence[Row[Any]]) -> dict[int, int]:
    """Of each pair that has arrived: whether it came by its promised day, be it sent back in between."""
    zone = ZoneInfo(counted.hours.zone)
    ended = cache(lambda day: int(too_late(day, zone.key).timestamp()))
    arrived = [row for row in rows if row.stage == "dispense" and row.promised_on is not None]
    found = {row.id: KEPT for row in arrived if row.started_at < ended(row.promised_on)}
    after = {row.id: row for row in arrived if row.id in found and row.since >= ended(row.promised_on)}
    before = stood(db, after) if after else {}
    for pair, row in after.items():
        begun, since = (datetime.fromtimestamp(at, UTC) for at in (row.started_at, row.since))
        found[pair] = kept_or_not(row.promised_on, begun, (*before.get(pair, ()), since), zone)
    return found


def _minutes(counted: Counted, place: Numbers, entered: Numbers, arrived: Numbers, until: int) -> Numbers:
    """By the clock, or of the working hours where the place is a bench."""
    minutes: Numbers = np.maximum(np.where(arrived > 0, arrived, until) - entered, 0)
    benches = np.isin(place, [PLACE[key] for key, stage in STAGES.items() if stage.bench])
    now = clock.now()

    @cache
    def worked(at: int) -> int:
        return counted.hours.minutes_between(datetime.fromtimestamp(60 * at, UTC), now)

    minutes[benches] = np.fromiter(map(worked, entered[benches].tolist()), dtype=np.int64)
    return minutes
