"""What several acts of the clinic do alike: look before they speak, move the pair once, set the next review."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import update
from sqlmodel import Session, col, select

from app import clock
from app.bench import actions as bench
from app.bench import queries as pairs
from app.bench.actions import Moved
from app.bench.queries import Loaded
from app.bench.rules import machine
from app.bench.rules.machine import Asked
from app.errors import Refusal
from app.fitting import queries
from app.fitting.rules import plan
from app.fitting.tables import Review, WearingPlan
from app.orders.tables import Patient
from app.people import queries as people
from app.people.rules import Viewer
from app.trade import wearing


def standing(db: Session, code: str, asked: Asked, by: Viewer) -> Loaded:
    """The pair, locked, if the machine would do the act: whether it may be comes before what is said in it."""
    loaded = pairs.find(db, code, by, lock=True)
    try:
        machine.check(loaded.state, asked, by.at(loaded.row["clinic_id"]))
    except Refusal:
        bench.move(db, code=code, asked=asked, by=by)  # refuses too, and knows who moved it
        raise
    return loaded


def act(
    db: Session,
    code: str,
    asked: Asked,
    by: Viewer,
    done_at: datetime | None = None,
    dropped: tuple[str, ...] = (),
    changes: Mapping[str, Any] | None = None,
    extra: Mapping[str, Any] | None = None,
) -> Moved:
    """Moves the pair. What this room keeps in its own rows is `dropped` from the move: a fact is written once."""
    kept = {name: value for name, value in asked.facts.items() if name not in dropped}
    asked = replace(asked, facts=kept)
    return bench.move(db, code=code, asked=asked, by=by, done_at=done_at, changes=changes, extra=extra)


def day_of(db: Session, done_at: datetime | None) -> date:
    """The day of an act in the lab's zone: today, unless it was done before."""
    return (done_at or clock.now()).astimezone(ZoneInfo(people.lab(db).zone)).date()


def next_review(db: Session, moved: Moved, patient: Patient, from_day: date) -> Review:
    last = db.exec(select(Review.number).where(Review.pair_id == moved.pair_id).order_by(col(Review.number).desc()))
    due_on = wearing.review_day(from_day, plan.high_risk(patient.risks), people.work_calendar(db))
    made = Review(pair_id=moved.pair_id, move_id=moved.move_id, number=(last.first() or 0) + 1, due_on=due_on)
    db.add(made)
    db.flush()
    bench.work_by(db, moved.pair_id, due_on)
    return made


def end_plan(db: Session, pair_id: int) -> None:
    going = (col(WearingPlan.pair_id) == pair_id, col(WearingPlan.ended_at).is_(None), col(WearingPlan.void).is_(False))
    db.execute(update(WearingPlan).where(*going).values(ended_at=clock.now()))


def mark_painful(db: Session, pair_id: int, days: list[int]) -> None:
    worn = queries.wearing_plan(db, pair_id) if days else None
    if worn is not None:
        worn.painful_days = sorted({*worn.painful_days, *days})
        db.add(worn)


def read_painful(db: Session, loaded: Loaded, raw: Any, field: str, wrong: dict[str, str]) -> list[int]:
    worn = queries.wearing_plan(db, loaded.row["id"])
    if not raw or worn is None:
        return []
    today: date = clock.today(people.lab(db).zone)
    return plan.read_painful(raw, (today - worn.from_day).days + 1, field, wrong)
