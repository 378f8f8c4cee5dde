"""What a person is told without looking: the mails one wants, and the calendar at a secret address."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.errors import BadInput
from app.people import actions, queries
from app.people.queries import told
from app.people.rules import DIGEST_HOURS, SUBJECTS, Role
from app.people.sessions import Ask, Signed
from app.templating import go, page
from app.web import Form, Typed

router = APIRouter()


@router.get("/me/told")
def told_form(request: Request, ask: Signed) -> Response:
    return _told(request, ask)


def _told(
    request: Request, ask: Ask, typed: Typed | None = None, refusal: BadInput | None = None, secret: str = ""
) -> Response:
    settings = request.app.state.settings
    with ask.reading() as (viewer, db):
        mine = told.choices(db, viewer.staff_id)
        values: dict[str, Any] = {
            "email": queries.person(db, viewer.staff_id).email,
            "calendar": told.has_calendar(viewer.roles),
            "calendar_made_at": told.calendar_made_at(db, viewer.staff_id),
            "zone_words": viewer.zone.replace("_", " "),
            "demo": queries.lab(db).demo,
        }
    return page(
        request,
        "people/told.html",
        viewer=viewer,
        status=refusal.status if refusal else 200,
        subjects=[(each, f"when {SUBJECTS[each].words}", SUBJECTS[each].hint) for each in mine.subjects],
        wanted=typed.all("wanted") if typed else mine.wanted,
        hours=[(hour, f"{hour}:00") for hour in DIGEST_HOURS],
        hour=typed.get("hour", "") if typed else mine.hour,
        errors=refusal.fields if refusal else {},
        lacks=settings.lacks_for_mail,
        manages=viewer.has(Role.MANAGER),
        address=f"{settings.site or str(request.base_url).rstrip('/')}/calendar/{secret}.ics" if secret else "",
        **values,
    )


@router.post("/me/told")
def choose(request: Request, ask: Signed, form: Form) -> Response:
    hour = form.get("hour", "")
    number = int(hour) if hour.isascii() and hour.isdecimal() and len(hour) < 3 else -1
    try:
        with ask.writing() as (viewer, db):
            actions.choose_told(db, by=viewer, wanted=form.all("wanted"), hour=number)
    except BadInput as refusal:
        return _told(request, ask, form, refusal)
    return go("/me/told", "Kept. It holds from now on.")


@router.post("/me/told/calendar")
def make_calendar(request: Request, ask: Signed) -> Response:
    """The address is shown once, on the page that answers; it is not kept anywhere in the clear."""
    with ask.writing() as (viewer, db):
        secret = actions.make_calendar(db, by=viewer)
    return _told(request, ask, secret=secret)


@router.post("/me/told/calendar/end")
def end_calendar(ask: Signed) -> Response:
    with ask.writing() as (viewer, db):
        actions.end_calendar(db, by=viewer)
    return go("/me/told", "The calendar's address leads nowhere any more.")
