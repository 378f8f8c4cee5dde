"""What the lab's own last days say of its stages, as it was known at an instant."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Row, func, select
from sqlmodel import Session

from app.bench.queries import hold_t, pair_t, visit_t
from app.bench.tables import Move, Stay
from app.people import queries as people
from app.trade.worktime import WorkCalendar
from app.turnaround.rules.forecast.known import FEWEST, Known, Left, Window, know, pair_stays, place_of_stay
from app.turnaround.rules.forecast.line import BENCHES, LINE, PLACE
from app.turnaround.rules.forecast.standing import Standing

move_t, stay_t = Move.metadata.tables["move"], Stay.metadata.tables["stay"]
_STAYS = (
    select(
        stay_t.c.pair_id,
        stay_t.c.move_id,
        stay_t.c.stage,
        stay_t.c.minutes,
        stay_t.c.entered_at,
        stay_t.c.left_at,
        move_t.c.act,
        move_t.c.reason,
        move_t.c.to_stage,
        move_t.c.staff_id,
        visit_t.c.trims_at_clinic,
    )
    .join(move_t, move_t.c.id == stay_t.c.move_id)
    .join(visit_t, visit_t.c.id == move_t.c.visit_id)
    .where(stay_t.c.stage.in_([place for place in LINE if place in PLACE]))
)
MOST = 80_000
"""Stays of sides that are read, about; of more, those of every second pair, or every third, and so on."""
RUSH_DAYS = 365
"""Rush pairs are few: what they take is looked for in a longer time."""


def known(db: Session, at: datetime, calendar: WorkCalendar, standing: Sequence[Standing]) -> Known:
    """From the stays that ended, and the holds that were over, in the days before `at`, and who stands where."""
    window = Window(at, calendar)
    here: dict[str, list[float]] = {}
    for pair in standing:
        if not pair.waits_on:
            here.setdefault(pair.stage, []).append(window.minutes(pair.since))
    came = {place: np.array(since) for place, since in here.items()}
    return know(_left(db, window), _holds(db, window), window, came)


def hurried(db: Session, at: datetime, calendar: WorkCalendar) -> dict[str, NDArray[np.float64]]:
    """Stays of rush pairs at the benches where enough of them have been."""
    window = Window(at, calendar, RUSH_DAYS)
    rush = pair_t.c.id.in_(select(pair_t.c.id).where(pair_t.c.rush))
    stays = pair_stays(_left(db, window, stay_t.c.pair_id == pair_t.c.id, rush))
    mine = {place: stays.minutes[stays.place == PLACE[place]] for place in BENCHES}
    return {place: minutes for place, minutes in mine.items() if len(minutes) >= FEWEST}


def _left(db: Session, window: Window, *more: Any) -> Left:
    zone = ZoneInfo(window.calendar.zone)
    months = [instant.astimezone(zone) for instant in (window.since, window.at)]
    first, last = (month.year * 100 + month.month for month in months)
    mine = (stay_t.c.calendar_id == people.counted(db).calendar_id, stay_t.c.month.between(first, last))
    count = db.execute(select(func.count()).select_from(stay_t).where(*mine)).scalar_one()
    every = -(-count // MOST) or 1
    query = _STAYS.where(
        *mine,
        stay_t.c.left_at >= window.since,
        stay_t.c.left_at < window.at,
        *([stay_t.c.pair_id % every == 0] if every > 1 else []),
        *more,
    )
    rows = [row for row in db.execute(query) if _place(row) >= 0]
    return Left(
        pair=_whole(row.pair_id for row in rows),
        move=_whole(row.move_id for row in rows),
        place=_whole(_place(row) for row in rows),
        minutes=np.array([row.minutes for row in rows], dtype=np.float64),
        entered=np.array([window.minutes(row.entered_at) for row in rows], dtype=np.float64),
        at=np.array([window.minutes(row.left_at) for row in rows], dtype=np.float64),
        on=np.array([row.act == "advance" for row in rows], dtype=bool),
        rework=np.array([row.act == "send_back" and row.reason != "booked_by_mistake" for row in rows], dtype=bool),
        arrives=np.array([row.to_stage == "dispense" for row in rows], dtype=bool),
        staff=_whole(row.staff_id for row in rows),
        every=every,
    )


def _place(row: Row[tuple[object, ...]]) -> int:
    return place_of_stay(row.stage, row.trims_at_clinic)


def _whole(numbers: object) -> NDArray[np.int64]:
    return np.fromiter(numbers, dtype=np.int64)  # type: ignore[call-overload,no-any-return]


def _holds(db: Session, window: Window) -> dict[str, NDArray[np.float64]]:
    """Of what stopped a pair where it was; a question that stops it later may have cost nothing."""
    query = select(hold_t.c.waiting_on, hold_t.c.opened_at, hold_t.c.closed_at).where(
        hold_t.c.closed_at >= window.since, hold_t.c.closed_at < window.at, hold_t.c.before.is_(None)
    )
    found: dict[str, list[int]] = {}
    for waiting_on, opened_at, closed_at in db.execute(query):
        found.setdefault(waiting_on, []).append(window.calendar.minutes_between(opened_at, closed_at))
    return {party: np.array(minutes, dtype=np.float64) for party, minutes in found.items()}
