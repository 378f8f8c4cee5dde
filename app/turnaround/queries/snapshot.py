"""Where every open pair stood at an instant, and all that a forecast is made from."""

from collections.abc import Collection
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from sqlalchemy import Select, func, or_, select
from sqlmodel import Session

from app import clock
from app.bench.queries import bench_settings, clinic_t, hold_t, pair_t, promising, visit_t
from app.bench.rules.replay import Step
from app.bench.rules.stages import STANDARD_DAYS
from app.bench.tables import Move
from app.people import queries as people
from app.turnaround.queries.known import hurried, known
from app.turnaround.rules.forecast.kept import Kept
from app.turnaround.rules.forecast.known import Window
from app.turnaround.rules.forecast.made import Kind
from app.turnaround.rules.forecast.standing import Capacity, Snapshot, Standing
from app.turnaround.rules.forecast.walked import AT_CLINIC, HeldFor, Walked, standing

move_t = Move.metadata.tables["move"]
_OPEN_NOW = (pair_t.c.stage.is_not(None), pair_t.c.stage.not_in(AT_CLINIC))
_VISITS = select(
    visit_t.c.pair_id,
    visit_t.c.way,
    visit_t.c.trims_at_clinic,
    visit_t.c.started_at,
    pair_t.c.code,
    pair_t.c.clinic_id,
    pair_t.c.wanted_on,
    pair_t.c.promised_on,
    pair_t.c.fitting_at,
    pair_t.c.rush,
).join(pair_t, pair_t.c.id == visit_t.c.pair_id)
AT_ONCE = 500
"""Pairs whose moves are asked for in one query."""


def snapshot(db: Session) -> Snapshot:
    """As things are now."""
    at = clock.now()
    pairs = walked(db, _VISITS.where(pair_t.c.visit_id == visit_t.c.id, *_OPEN_NOW))
    return of(db, at, [found for each in pairs if (found := standing(each, at))])


def kept(db: Session) -> Kept:
    """As things are now, and what can be tried with them."""
    now = snapshot(db)
    return Kept(now, hurried(db, now.at, now.calendar), _paces(db, now))


def _paces(db: Session, now: Snapshot) -> dict[Kind, float]:
    """New orders a working day over the last days."""
    window = Window(now.at, now.calendar)
    query = (
        select(visit_t.c.way, clinic_t.c.by_parcel, clinic_t.c.trims, func.count())
        .join(pair_t, pair_t.c.id == visit_t.c.pair_id)
        .join(clinic_t, clinic_t.c.id == pair_t.c.clinic_id)
        .where(visit_t.c.reason == "new", visit_t.c.started_at >= window.since, visit_t.c.started_at < now.at)
        .group_by(visit_t.c.way, clinic_t.c.by_parcel, clinic_t.c.trims)
    )
    days = max(1, sum(map(now.calendar.is_working_day, window.local_days())))
    return {Kind(way, by_parcel, trims, "order"): count / days for way, by_parcel, trims, count in db.execute(query)}


def of(db: Session, at: datetime, pairs: list[Standing]) -> Snapshot:
    calendar = people.work_calendar(db)
    return Snapshot(at, calendar, known(db, at, calendar, pairs), tuple(pairs), capacity(db), standard_days(db))


def capacity(db: Session) -> dict[str, Capacity]:
    settings = bench_settings(db)
    benches = settings.a_day.keys() | settings.people.keys()
    return {key: Capacity(settings.a_day.get(key), settings.people.get(key)) for key in benches}


def standard_days(db: Session) -> dict[str, int]:
    return {way: promising.standard_days(db, way) for way in STANDARD_DAYS}


def open_at(db: Session, at: datetime) -> list[Walked]:
    """Pairs whose visit was under way then; those that were with their wearers are among them."""
    under_way = (visit_t.c.started_at <= at, or_(visit_t.c.ended_at.is_(None), visit_t.c.ended_at > at))
    return walked(db, _VISITS.where(*under_way))


def walked(db: Session, visits: "Select[tuple[object, ...]]") -> list[Walked]:
    """With their moves and holds. Of two visits of a pair the later one counts."""
    rows = {row.pair_id: row for row in db.execute(visits.order_by(visit_t.c.started_at, visit_t.c.id))}
    zone = ZoneInfo(people.lab(db).zone)
    found = []
    ids = list(rows)
    for first in range(0, len(ids), AT_ONCE):
        some = ids[first : first + AT_ONCE]
        steps, holds = _steps(db, some), _holds(db, some)
        found += [
            Walked(
                pair_id=row.pair_id,
                code=row.code,
                clinic_id=row.clinic_id,
                way=row.way,
                trims_at_clinic=row.trims_at_clinic,
                started_at=row.started_at,
                wanted_on=row.wanted_on,
                promised_on=row.promised_on,
                fitting_on=_day(row.fitting_at, zone),
                rush=row.rush,
                steps=steps.get(row.pair_id, []),
                holds=holds.get(row.pair_id, {}),
            )
            for row in (rows[each] for each in some)
        ]
    return found


def _day(at: datetime | None, zone: ZoneInfo) -> date | None:
    return at.astimezone(zone).date() if at else None


def _steps(db: Session, ids: Collection[int]) -> dict[int, list[tuple[datetime, Step]]]:
    columns = [move_t.c[name] for name in ("pair_id", "at", *Step._fields)]
    query = select(*columns).where(move_t.c.pair_id.in_(ids)).order_by(move_t.c.pair_id, move_t.c.version)
    found: dict[int, list[tuple[datetime, Step]]] = {}
    for pair_id, at, *step in db.execute(query):
        found.setdefault(pair_id, []).append((at.astimezone(UTC), Step(*step)))
    return found


def _holds(db: Session, ids: Collection[int]) -> dict[int, dict[int, HeldFor]]:
    columns = [hold_t.c[name] for name in ("pair_id", "id", *HeldFor._fields)]
    found: dict[int, dict[int, HeldFor]] = {}
    for pair_id, number, *hold in db.execute(select(*columns).where(hold_t.c.pair_id.in_(ids))):
        found.setdefault(pair_id, {})[number] = HeldFor(*hold)
    return found
