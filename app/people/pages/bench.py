"""The tablets of the bench: enrolling one, signing on at it with badge and PIN, locking it, and a manager's list."""

from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.errors import BadInput, NotAllowed, SignedOut, TooManyTries, Unready
from app.people import actions, queries
from app.people.actions.signing_on import NO_FIT, NO_TECHNICIAN, TOO_MANY
from app.people.permissions import need
from app.people.queries import stations
from app.people.rules import BadBadge, read_badge
from app.people.sessions import (
    Ask,
    AtBench,
    Signed,
    forget_ordinary,
    keep_tablet,
    let_on,
    lock,
    sign_on_page,
    tablet_hash,
)
from app.templating import go, page
from app.web import Form

router = APIRouter()
REFUSED = {
    "fit": NO_FIT,
    "wait": TOO_MANY,
    "role": NO_TECHNICIAN,
    "pin": "The PIN was missing. Scan the badge again and type its PIN.",
}
"""What the sign-on page says by the word in its address."""


@router.get("/bench/sign-on")
def sign_on_form(request: Request, ask: AtBench, then: str = "/bench", refused: str = "") -> Response:
    return sign_on_page(request, then=then, fault=REFUSED.get(refused, ""), viewer=ask.signed_on())


@router.post("/bench/sign-on")
def sign_on(request: Request, form: Form) -> Response:
    """A refused try is sent back to the form: a page that answers it could be sent again from the tablet's history,
    with badge and PIN in it."""
    then, pin = form.get("then", "/bench"), form.get("pin", "").strip()
    try:
        badge = read_badge(form.get("badge", ""))
        token = _let_on(request, badge, pin) if pin else None
    except BadBadge as fault:
        return sign_on_page(request, then=then, typed=form.get("badge", ""), fault=str(fault), status=422)
    except Unready as refusal:
        return sign_on_page(request, status=refusal.status)
    except (SignedOut, TooManyTries, NotAllowed) as refusal:
        return _again(then, {401: "fit", 429: "wait", 403: "role"}[refusal.status])
    return let_on(request, token, then) if token else _again(then, "pin")


def _again(then: str, refused: str) -> Response:
    return go(f"/bench/sign-on?{urlencode({'then': then, 'refused': refused})}")


def _let_on(request: Request, badge: str, pin: str) -> str:
    """The token of a new sign-on. Who was signed in here with a password is signed out."""
    database, passwords = request.app.state.database, request.app.state.passwords
    with database.writing() as db:
        this = actions.count_sign_on(db, tablet_hash=tablet_hash(request), badge=badge)
    try:
        with database.reading() as db:
            holder = actions.whose_badge(db, passwords, this=this, pin=pin)
        with database.writing() as db:
            forget_ordinary(request, db)
            browser = request.headers.get("user-agent", "")
            token: str = actions.sign_on(db, this=this, holder=holder, browser=browser)
            return token
    except (SignedOut, NotAllowed) as refusal:
        with database.writing() as db:
            actions.refuse_sign_on(db, this=this, **refusal.facts)
        raise


@router.post("/bench/lock")
def lock_tablet(request: Request) -> Response:
    return lock(request)


@router.get("/bench/enrol")
def enrol_form(request: Request, ask: Signed) -> Response:
    return _enrol(request, ask)


def _enrol(request: Request, ask: Ask, typed: str | None = None, fault: str = "") -> Response:
    with ask.reading() as (viewer, db):
        need(viewer, "keep_tablets")
        demo, enrolled = queries.lab(db).demo, stations.enrolled(db, tablet_hash(request))
    return page(
        request,
        "people/enrol.html",
        viewer=viewer,
        status=422 if fault else 200,
        enrolled=enrolled.name if enrolled else "",
        typed=typed if typed is not None else enrolled.name if enrolled else "",
        errors={"name": fault} if fault else {},
        demo=demo,
    )


@router.post("/bench/enrol")
def enrol(request: Request, ask: Signed, form: Form) -> Response:
    """The manager is signed out on the tablet: from now on it is everybody's."""
    try:
        with ask.writing() as (viewer, db):
            need(viewer, "keep_tablets")
            instead_of = tablet_hash(request)
            secret = actions.enrol(db, by=viewer, name=form.get("name", ""), instead_of=instead_of)
            forget_ordinary(request, db)
    except BadInput as refusal:
        return _enrol(request, ask, form.get("name", ""), refusal.fields["name"])
    return keep_tablet(request, go("/bench/sign-on", "This tablet is enrolled, and you are signed out on it."), secret)


@router.get("/people/tablets")
def tablets(request: Request, ask: Signed) -> Response:
    with ask.reading() as (viewer, db):
        need(viewer, "keep_tablets")
        rows, demo = stations.stations(db), queries.lab(db).demo
    return page(request, "people/tablets.html", viewer=viewer, stations=rows, demo=demo)


@router.post("/people/tablets/{station_id:int}/end")
def end_tablet(station_id: int, ask: Signed) -> Response:
    with ask.writing() as (viewer, db):
        need(viewer, "keep_tablets")
        name = actions.end_station(db, by=viewer, station_id=station_id)
    return go("/people/tablets", f"{name} is ended: nobody signs on there, and who was signed on is signed off.")
