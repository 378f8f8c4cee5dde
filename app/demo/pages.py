"""The demo's one-click sign-in; anywhere but in a marked demo on this machine the address does not exist."""

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy import select
from sqlmodel import col

from app.errors import NotFound
from app.people import actions, queries
from app.people.sessions import let_in, on_loopback
from app.people.tables import Staff
from app.web import Form

router = APIRouter(include_in_schema=False)


@router.post("/demo/sign-in")
def sign_in_as(request: Request, form: Form) -> Response:
    role = form.get("role", "")
    database = request.app.state.database
    with database.writing() as db:
        if not (queries.is_set_up(db) and queries.lab(db).demo and on_loopback(request)):
            raise NotFound("There is nothing at this address.")
        people = db.execute(select(col(Staff.id), col(Staff.roles)).order_by(col(Staff.id))).all()
        staff_id = next((staff_id for staff_id, roles in people if roles == [role]), None)
        if staff_id is None:
            raise NotFound("There is no such role in the demo.")
        token = actions.start_session(db, staff_id, "demo")
    return let_in(request, token)
