"""What a person signs on with at the bench: the badge that a manager makes, and the PIN of one's own."""

import segno
from fastapi import APIRouter, Request
from fastapi.responses import Response
from markupsafe import Markup

from app.errors import BadInput
from app.people import actions, queries
from app.people.permissions import need
from app.people.queries import stations
from app.people.rules import BADGE
from app.people.sessions import Ask, Signed
from app.templating import go, page
from app.web import Form

router = APIRouter()


@router.post("/people/{staff_id:int}/badge")
def make_badge(request: Request, staff_id: int, ask: Signed) -> Response:
    """The card is shown once, on the page that answers; it is not kept anywhere in the clear."""
    with ask.writing() as (viewer, db):
        need(viewer, "keep_tablets")
        payload = actions.make_badge(db, by=viewer, staff_id=staff_id)
        person, lab = queries.person(db, staff_id), queries.lab(db)
    secret = payload.removeprefix(BADGE)
    return page(
        request,
        "people/badge.html",
        viewer=viewer,
        person=person,
        lab=lab.name,
        qr=_qr(payload),
        prefix=BADGE,
        groups=[secret[place : place + 9] for place in range(0, len(secret), 9)],
        demo=lab.demo,
    )


def _qr(payload: str) -> Markup:
    """As an inline SVG with its quiet zone of four modules (ISO/IEC 18004); it can lose 15 % and be read."""
    drawn = segno.make_qr(payload, error="m").svg_inline(border=4, omitsize=True, svgclass="qr", lineclass=None)
    return Markup(drawn)  # noqa: S704 - the library draws modules, the payload's characters are not in it


@router.post("/people/{staff_id:int}/badge/void")
def void_badge(staff_id: int, ask: Signed) -> Response:
    with ask.writing() as (viewer, db):
        need(viewer, "keep_tablets")
        actions.void_badge(db, by=viewer, staff_id=staff_id)
    return go(f"/people/{staff_id}", "The badge is void: nobody signs on with it any more.")


@router.post("/people/{staff_id:int}/pin/clear")
def clear_pin(staff_id: int, ask: Signed) -> Response:
    with ask.writing() as (viewer, db):
        need(viewer, "keep_tablets")
        actions.clear_pin(db, by=viewer, staff_id=staff_id)
        name = queries.person(db, staff_id).name
    return go(f"/people/{staff_id}", f"{name} has no PIN now and chooses a new one.")


@router.get("/pin")
def pin_form(request: Request, ask: Signed) -> Response:
    return _pin(request, ask)


def _pin(request: Request, ask: Ask, refusal: BadInput | None = None) -> Response:
    with ask.reading() as (viewer, db):
        need(viewer, "sign_on")
        mine, demo = stations.signs_on_with(db, viewer.staff_id), queries.lab(db).demo
    status, errors = (refusal.status, refusal.fields) if refusal else (200, {})
    return page(request, "people/pin.html", viewer=viewer, status=status, mine=mine, errors=errors, demo=demo)


@router.post("/pin")
def choose_pin(request: Request, ask: Signed, form: Form) -> Response:
    """Typed twice, because nobody sees what is typed; a badge locks after five wrong ones."""
    pin, again = form.get("pin", "").strip(), form.get("again", "").strip()
    try:
        with ask.writing() as (viewer, db):
            need(viewer, "sign_on")
            if pin != again:
                words = "The two are not the same."
                raise BadInput(words, {"again": words})
            actions.choose_pin(db, request.app.state.passwords, by=viewer, pin=pin)
    except BadInput as refusal:
        return _pin(request, ask, refusal)
    return go("/pin", "The PIN is kept. It signs you on at the tablets of the bench, together with your badge.")
