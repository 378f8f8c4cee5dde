"""What a clinician looks at first: what the lab asks, what has come, who is due for a review, what comes late."""

from datetime import date, datetime, time, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app import clock
from app.bench import queries as bench
from app.fitting import queries as fitting
from app.fitting.queries import DueRow
from app.fitting.queries.together import beside
from app.people.rules import Viewer

SOON = timedelta(days=3)


class ClinicDesk(NamedTuple):
    questions: list[bench.Question]
    arrived: list[bench.Arrived]
    overdue: list[DueRow]
    due: list[DueRow]
    """Today and in the next days."""
    beside: dict[str, str]
    """For a code of these that shares its appointment: the others."""
    late: list[bench.Late]
    wearing: int
    today: date


def clinic_desk(db: Session, viewer: Viewer, wearing: int) -> ClinicDesk:
    """Of the own clinics alone; `wearing` is how many pairs are being worn in."""
    today = clock.today(viewer.zone)
    morning = datetime.combine(today, time(), ZoneInfo(viewer.zone))
    reviews = fitting.reviews_due(db, viewer.clinics, limit=40)
    return ClinicDesk(
        bench.questions(db, viewer.clinics),
        bench.arrived(db, viewer.clinics, morning),
        [row for row in reviews if row.due_on < today],
        [row for row in reviews if today <= row.due_on <= today + SOON],
        beside(reviews),
        bench.late(db, viewer.clinics, today),
        wearing,
        today,
    )
