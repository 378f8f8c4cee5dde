"""The agenda of the own clinics' reviews, four weeks at a time."""

from datetime import date, timedelta

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app import clock
from app.desks.pages.common import lab_values
from app.desks.queries.agenda import WEEKS, agenda
from app.errors import BadInput
from app.people import queries as people
from app.people.permissions import need
from app.people.sessions import Signed
from app.templating import page

router = APIRouter(include_in_schema=False)


@router.get("/reviews/agenda")
def review_agenda(request: Request, ask: Signed, start: str = "", clinic: int = 0) -> Response:
    """`start` is any day of the first week; `clinic` is one of the own, 0 all of them."""
    with ask.reading() as (viewer, db):
        need(viewer, "see_patient", clinic or None)
        values = lab_values(db)
        today = clock.today(viewer.zone)
        monday = _monday(start, today)
        clinics = [each for each in people.clinics(db) if each.id in viewer.clinics]
        weeks = agenda(db, {clinic} if clinic else viewer.clinics, monday, viewer.zone, values["calendar"])
    values |= {"clinics": clinics, "clinic": clinic, "weeks": weeks, "today": today}
    values["most"] = max((len(day.coming) for week in weeks for day in week.days), default=0)
    values |= {"before": monday - timedelta(weeks=WEEKS), "after": monday + timedelta(weeks=WEEKS)}
    return ask.again(page(request, "desks/agenda.html", viewer=viewer, **values))


def _monday(text: str, today: date) -> date:
    try:
        day = date.fromisoformat(text) if text else today
        return day - timedelta(days=day.weekday())
    except (ValueError, OverflowError):
        words = "A day reads like 2026-12-04."
        raise BadInput(words, {"start": words}) from None
