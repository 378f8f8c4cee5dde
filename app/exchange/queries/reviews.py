"""The reviews that stand in a clinician's calendar."""

from collections.abc import Collection
from datetime import date, datetime, timedelta
from typing import NamedTuple

from sqlalchemy import func, select
from sqlmodel import Session

from app import clock
from app.bench.queries import clinic_t, order_t, pair_t
from app.bench.tables import Move
from app.fitting.queries import review_t
from app.fitting.queries.together import at_one_time
from app.fitting.rules.takeaway import MINUTES
from app.people import queries as people
from app.trade.calendars import Event

BACK, AHEAD = timedelta(weeks=2), timedelta(weeks=8)
"""An open review of the last days is still to be held; what lies further off will come into the calendar in time."""
move_t = Move.metadata.tables["move"]


class Row(NamedTuple):
    code: str
    patient_id: int
    clinic: str
    number: int
    due_on: date
    appointment: datetime | None
    version: int
    changed_at: datetime


def calendar(db: Session, clinics: Collection[int], site: str) -> list[Event]:
    """Open reviews of these clinics: at the appointment, else on the day they are due. A pair's act may change either.

    What a wearer comes for once is one event, however many pairs it is for. `site` is the address of this
    installation: it parts the events of two labs in one person's program.
    """
    today = clock.today(people.lab(db).zone)
    changed = select(func.max(move_t.c.at)).where(move_t.c.pair_id == pair_t.c.id).scalar_subquery()
    rows = db.execute(
        select(pair_t.c.code, order_t.c.patient_id, clinic_t.c.name, review_t.c.number)
        .add_columns(review_t.c.due_on, review_t.c.appointment, pair_t.c.version, changed)
        .join(pair_t, pair_t.c.id == review_t.c.pair_id)
        .join(order_t, order_t.c.id == pair_t.c.order_id)
        .join(clinic_t, clinic_t.c.id == pair_t.c.clinic_id)
        .where(review_t.c.state == "open", pair_t.c.clinic_id.in_(list(clinics)))
        .where(review_t.c.due_on.between(today - BACK, today + AHEAD))
        .order_by(review_t.c.due_on, review_t.c.id)
    )
    return [_event(group, site) for group in at_one_time(Row(*row) for row in rows)]


def _event(rows: list[Row], site: str) -> Event:
    first = rows[0]
    return Event(
        uid=f"{first.code}-review-{first.number}@{site.partition('://')[2]}",
        title=f"Review {' and '.join(row.code for row in rows)}",
        begins=first.appointment or first.due_on,
        changed_at=max(row.changed_at for row in rows),
        version=first.version,
        minutes=MINUTES,
        place=first.clinic,
        address=f"{site}/pair/{first.code}",
    )
