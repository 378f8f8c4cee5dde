"""A clinician's calendar for calendar programs, which know no sign-in: whoever has its secret address may read it."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.errors import NotFound
from app.exchange.queries import reviews
from app.people import actions as people
from app.people import queries
from app.people.queries import told
from app.people.rules import hash_of
from app.trade.calendars import calendar_file

router = APIRouter(include_in_schema=False)


@router.get("/calendar/{secret}.ics")
def calendar(request: Request, secret: str) -> Response:
    """Codes and clinics alone, so nobody's reading has to be journalled."""
    database, settings = request.app.state.database, request.app.state.settings
    with database.reading() as db:
        clinics = told.whose_calendar(db, hash_of(secret))
        if clinics is not None:
            site = settings.site or str(request.base_url).rstrip("/")
            events = reviews.calendar(db, clinics, site)
            file = calendar_file(events, name=f"Reviews, {queries.lab(db).name}")
            return Response(file, media_type="text/calendar; charset=utf-8")
    with database.writing() as db:
        people.count_calendar_try(db, address=request.client.host if request.client else "")
    raise NotFound("There is nothing at this address.")
