"""The demo's one-click sign-in and its next day; anywhere but in a marked demo on this machine they do not exist."""

from datetime import timedelta

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy import select, update
from sqlmodel import Session, col

from app import clock
from app.demo.actions import set_demo_clock
from app.errors import NotFound
from app.people import actions, queries
from app.people.rules import hash_of
from app.people.sessions import cookie_name, let_in, on_loopback
from app.people.tables import SignedIn, Staff
from app.templating import day_words, go
from app.web import Form

router = APIRouter(include_in_schema=False)


@router.post("/demo/sign-in")
def sign_in_as(request: Request, form: Form) -> Response:
    role = form.get("role", "")
    database = request.app.state.database
    with database.writing() as db:
        _only_here(db, request)
        people = db.execute(select(col(Staff.id), col(Staff.roles)).order_by(col(Staff.id))).all()
        staff_id = next((staff_id for staff_id, roles in people if roles == [role]), None)
        if staff_id is None:
            raise NotFound("There is no such role in the demo.")
        token = actions.start_session(db, staff_id, "demo")
    return let_in(request, token)


def _only_here(db: Session, request: Request) -> None:
    if not (queries.is_set_up(db) and queries.lab(db).demo and on_loopback(request)):
        raise NotFound("There is nothing at this address.")


@router.post("/demo/next-day")
def next_day(request: Request) -> Response:
    """Puts the demo's clock a day on, so that two weeks can be walked in minutes; who is signed in stays so."""
    with request.app.state.database.writing() as db:
        _only_here(db, request)
        set_demo_clock(request.app.state.settings.data, clock.shift() + timedelta(days=1))
        mine = hash_of(request.cookies.get(cookie_name(request), ""))
        db.execute(update(SignedIn).where(col(SignedIn.token_hash) == mine).values(seen_at=clock.now()))
        zone = queries.lab(db).zone
    return go("/", f"A day has passed: it is {day_words(clock.today(zone))}.")
