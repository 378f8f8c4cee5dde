"""Starting prescriptions by people: kept from the order form or a pair's page, taken over, and their own page."""

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.bench import queries
from app.bench.rules.stages import WAY_WORDS, WAYS
from app.desks.pages.common import lab_values
from app.desks.pages.pair import shown_again
from app.desks.rules import as_typed, prescription_from_form, units_of, whole
from app.desks.rules.telling import prescription_rows
from app.errors import BadInput, NotFound
from app.orders import queries as orders
from app.orders.actions.starts import keep_start, rename_start, throw_start_away
from app.orders.queries.starts import start, starts
from app.orders.rules import ITEMS
from app.orders.tables import StartingPrescription
from app.people import queries as people
from app.people.permissions import need
from app.people.rules import Viewer
from app.people.sessions import Ask, Signed
from app.templating import go, page
from app.web import Form, Typed

router = APIRouter(include_in_schema=False)


def offered(db: Session, viewer: Viewer) -> list[tuple[str, str]]:
    """For the order form: id, and name with whose it is."""
    names = {clinic.id: clinic.name for clinic in people.clinics(db)}
    return [(str(each.id), f"{each.name} ({whose(each, names)})") for each in starts(db, viewer)]


def whose(kept: StartingPrescription, clinics: Mapping[int, str]) -> str:
    return clinics[kept.clinic_id] if kept.clinic_id else "yours"


def take_over(ask: Ask, typed: Mapping[str, Any]) -> tuple[dict[str, Any], str]:
    """The form with the chosen start's route and prescription written over its own; all else stays as typed."""
    with ask.reading() as (viewer, db):
        need(viewer, "place_order")
        try:
            kept = start(db, viewer, whole(str(typed.get("start_id", ""))))
        except NotFound:
            words = "Choose a start that is still there."
            raise BadInput(words, {"start_id": words}) from None
        name, way, body = kept.name, kept.way, kept.body
    over = {f"{side}.{key}" for side in body for key in ITEMS}
    rest = {field: value for field, value in typed.items() if field not in over}
    return as_typed(body, rest | {"way": way}, units_of(typed)), f"'{name}' is in the form; nothing else was changed."


def keep_from_form(ask: Ask, typed: Mapping[str, Any]) -> tuple[dict[str, Any], str]:
    """Keeps the prescription and the route of a form, and nothing else of it."""
    sides = str(typed.get("sides", ""))
    body = prescription_from_form(typed, sides if sides in ("L", "R") else "LR")
    with ask.writing() as (viewer, db):
        said = _keep(db, viewer, typed, whole(str(typed.get("clinic_id", ""))), str(typed.get("way", "")), body)
    return dict(typed) | {"start_name": ""}, said


def _keep(
    db: Session, viewer: Viewer, typed: Mapping[str, Any], clinic_id: int, way: str, body: Mapping[str, Any]
) -> str:
    if way not in WAYS:
        raise BadInput("The start needs another look.", {"way": "Choose how the capture becomes a device."})
    for_clinic = typed.get("start_for") == "clinic"
    name = str(typed.get("start_name", ""))
    keep_start(db, by=viewer, name=name, clinic_id=clinic_id if for_clinic else None, way=way, body=dict(body))
    return f"Kept as a start for {'the clinic' if for_clinic else 'you'}: {' '.join(name.split())}."


@router.post("/pair/{code}/start")
def keep_from_pair(request: Request, code: str, ask: Signed, form: Form) -> Response:
    """Keeps what a pair is made by now."""
    try:
        with ask.writing() as (viewer, db):
            loaded = queries.find(db, code, viewer)
            need(viewer, "place_order", loaded.row["clinic_id"])
            body = orders.holding(db, loaded.row["order_id"]).body
            said = _keep(db, viewer, form, loaded.row["clinic_id"], loaded.row["way"], body)
    except BadInput as refusal:
        return shown_again(request, ask, code, refusal, form, "start")
    return go(f"/pair/{loaded.state.code}", said)


@router.get("/orders/starts")
def starts_page(request: Request, ask: Signed) -> Response:
    return _page(request, ask)


@router.post("/orders/starts/{start_id}")
def change_start(request: Request, start_id: int, ask: Signed, form: Form) -> Response:
    """Calls it otherwise, or throws it away."""
    try:
        with ask.writing() as (viewer, db):
            need(viewer, "place_order")
            if form.get("act") == "throw_away":
                throw_start_away(db, by=viewer, start_id=start_id)
                return go("/orders/starts", "The start is thrown away; orders that began with it stay as they are.")
            rename_start(db, by=viewer, start_id=start_id, name=form.get("start_name", ""))
    except BadInput as refusal:
        return _page(request, ask, 422, {f"name-{start_id}": refusal.fields["start_name"]}, form)
    return go("/orders/starts", "It is called so now.")


def _page(
    request: Request, ask: Ask, status: int = 200, errors: Mapping[str, str] = {}, typed: Typed | None = None
) -> Response:
    with ask.reading() as (viewer, db):
        need(viewer, "place_order")
        names = {clinic.id: clinic.name for clinic in people.clinics(db)}
        rows = [
            (each, whose(each, names), WAY_WORDS[each.way], prescription_rows(each.body, viewer.units))
            for each in starts(db, viewer)
        ]
        values = lab_values(db)
    said = {"errors": errors, "typed": typed or Typed()}
    return page(request, "desks/starts.html", viewer=viewer, status=status, rows=rows, **said, **values)
