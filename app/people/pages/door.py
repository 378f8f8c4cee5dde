"""Getting in and out: the sign-in page, the set-up link, and the link on which a person chooses a password."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.errors import BadInput, SignedOut, TooManyTries
from app.people import actions, queries
from app.people.pages.forms import CLINIC_ROWS, choices, read_clinics, read_lab, read_text, usual_lab
from app.people.rules import email_fault, password_fault
from app.people.sessions import cookie_name, door, inside, keep_cookie, leave, let_in
from app.templating import page
from app.web import Form, Typed

router = APIRouter()


@router.get("/sign-in")
def sign_in_form(request: Request, then: str = "/") -> Response:
    return door(request, Typed([("then", then)]))


@router.post("/sign-in")
def sign_in(request: Request, form: Form) -> Response:
    database, passwords = request.app.state.database, request.app.state.passwords
    email, password, kept = form.get("email", ""), form.get("password", ""), _kept(form)
    address = request.client.host if request.client else ""
    try:
        with database.writing() as db:
            actions.count_try(db, email=email, address=address)
        with database.reading() as db:
            staff_id = actions.whose_password(db, passwords, email=email, password=password)
        with database.writing() as db:
            browser = request.headers.get("user-agent", "")
            token = actions.sign_in(
                db, passwords, staff_id=staff_id, password=password, address=address, browser=browser
            )
    except SignedOut as refusal:
        with database.writing() as db:
            actions.failed(db)
        return door(request, form, refusal.sentence, refusal.status, kept)
    except TooManyTries as refusal:
        return door(request, form, refusal.sentence, refusal.status, kept)
    then = inside(form.get("then", "/"))
    if kept is None:
        return let_in(request, token, then)
    # Nothing is sent unasked: who signs in now may be somebody else than who typed it.
    return keep_cookie(request, page(request, "people/go_on.html", then=then, kept=kept), token)


def _kept(form: Typed) -> list[tuple[str, str]] | None:
    """The fields of a form that waits for the sign-in; None for who came to sign in and no more."""
    if "waiting" not in form:
        return None
    return [(name.removeprefix("kept."), value) for name, value in form.pairs if name.startswith("kept.")]


@router.post("/sign-out")
def sign_out(request: Request) -> Response:
    token = request.cookies.get(cookie_name(request))
    if token:
        with request.app.state.database.writing() as db:
            actions.sign_out(db, token=token)
    return leave(request, "You are signed out.")


@router.get("/set-up/{token}")
def set_up_form(request: Request, token: str) -> Response:
    with request.app.state.database.reading() as db:
        actions.find_link(db, token, "set_up")
    return _set_up(request, usual_lab())


@router.post("/set-up/{token}")
def set_up(request: Request, token: str, form: Form) -> Response:
    database, passwords = request.app.state.database, request.app.state.passwords
    with database.reading() as db:
        actions.find_link(db, token, "set_up")
    wrong: dict[str, str] = {}
    lab, calendar = read_lab(form, wrong)
    clinics = read_clinics(form, wrong)
    person = _first_manager(form, lab["name"], wrong)
    if wrong:
        return _set_up(request, form, wrong)
    with database.writing() as db:
        staff_id = actions.set_up_lab(db, passwords, token=token, lab=lab, calendar=calendar, clinics=clinics, **person)
        session = actions.start_session(db, staff_id, request.headers.get("user-agent", ""))
    return let_in(request, session, "/", "The lab is set up, and you are signed in as its manager.")


def _set_up(request: Request, typed: Typed, errors: dict[str, str] | None = None) -> Response:
    values: dict[str, Any] = choices(typed.get("zone", "")) | {"clinic_rows": CLINIC_ROWS}
    return page(
        request, "people/set_up.html", status=422 if errors else 200, typed=typed, errors=errors or {}, **values
    )


def _first_manager(form: Typed, lab: str, wrong: dict[str, str]) -> dict[str, str]:
    person = read_text(form, "person", "Your name", wrong, needed=True)
    email, password = form.get("email", "").strip(), form.get("password", "")
    if fault := email_fault(email):
        wrong["email"] = fault
    if fault := password_fault(password, email, person, lab):
        wrong["password"] = fault
    return {"person": person, "email": email, "password": password}


@router.get("/invitation/{token}")
def invitation_form(request: Request, token: str) -> Response:
    with request.app.state.database.reading() as db:
        return _invitation(request, db, token)


@router.post("/invitation/{token}")
def accept_invitation(request: Request, token: str, form: Form) -> Response:
    database, passwords = request.app.state.database, request.app.state.passwords
    try:
        with database.writing() as db:
            staff_id = actions.accept(db, passwords, token=token, password=form.get("password", ""))
            session = actions.start_session(db, staff_id, request.headers.get("user-agent", ""))
            name = queries.person(db, staff_id).name
    except BadInput as refusal:
        with database.reading() as db:
            return _invitation(request, db, token, refusal.fields)
    return let_in(request, session, "/", f"Welcome, {name}.")


def _invitation(request: Request, db: Session, token: str, errors: dict[str, str] | None = None) -> Response:
    link = actions.find_link(db, token, "invitation", "password")
    return page(request, "people/invitation.html", status=422 if errors else 200, link=link, errors=errors or {})
