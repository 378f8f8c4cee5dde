"""Pouring or carving that is done leaves a positive on the shelf: it is written down with the act."""

from datetime import datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.bench.queries import Loaded
from app.bench.rules.machine import Asked, Outcome
from app.capture.actions import positives
from app.capture.rules import KEPT_MONTHS, months_on
from app.people import queries as people

MADE_AT = frozenset({"pour", "carve"})


def follow(db: Session, loaded: Loaded, asked: Asked, outcome: Outcome, move_id: int, done_at: datetime) -> None:
    """Called for every act, after its move is written."""
    if asked.act != "advance" or asked.from_stage is None or outcome.to_stage is None:
        return
    route = outcome.state.route
    done = route[route.index(asked.from_stage) : route.index(outcome.to_stage)]
    if not MADE_AT.intersection(done):
        return
    months = int(people.limit(db, "positive_months") or KEPT_MONTHS)
    day = done_at.astimezone(ZoneInfo(people.lab(db).zone)).date()
    positives.make(
        db,
        order_id=loaded.row["order_id"],
        sides=outcome.sides,
        move_id=move_id,
        made_at=done_at,
        kept_until=months_on(day, months),
    )
