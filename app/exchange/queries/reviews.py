"""The reviews that stand in a clinician's calendar."""

from collections.abc import Collection
from datetime import timedelta

from sqlalchemy import func, select
from sqlmodel import Session

from app import clock
from app.bench.queries import clinic_t, pair_t
from app.bench.tables import Move
from app.fitting.queries import review_t
from app.fitting.rules.takeaway import MINUTES
from app.people import queries as people
from app.trade.calendars import Event

BACK, AHEAD = timedelta(weeks=2), timedelta(weeks=8)
"""An open review of the last days is still to be held; what lies further off will come into the calendar in time."""
move_t = Move.metadata.tables["move"]


def calendar(db: Session, clinics: Collection[int], site: str) -> list[Event]:
    """Open reviews of these clinics: at the appointment, else on the day they are due. A pair's act may change either.

    `site` is the address of this installation: it parts the events of two labs in one person's program.
    """
    today = clock.today(people.lab(db).zone)
    changed = select(func.max(move_t.c.at)).where(move_t.c.pair_id == pair_t.c.id).scalar_subquery()
    rows = db.execute(
        select(pair_t.c.code, pair_t.c.version, clinic_t.c.name, review_t.c.number)
        .add_columns(review_t.c.due_on, review_t.c.appointment, changed)
        .join(pair_t, pair_t.c.id == review_t.c.pair_id)
        .join(clinic_t, clinic_t.c.id == pair_t.c.clinic_id)
        .where(review_t.c.state == "open", pair_t.c.clinic_id.in_(list(clinics)))
        .where(review_t.c.due_on.between(today - BACK, today + AHEAD))
        .order_by(review_t.c.due_on, review_t.c.id)
    )
    where = site.partition("://")[2]
    return [
        Event(
            uid=f"{code}-review-{number}@{where}",
            title=f"Review {code}",
            begins=appointment or due_on,
            changed_at=changed_at,
            version=version,
            minutes=MINUTES,
            place=clinic,
            address=f"{site}/pair/{code}",
        )
        for code, version, clinic, number, due_on, appointment, changed_at in rows
    ]
