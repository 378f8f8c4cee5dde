"""The order form: prescription first, nothing typed is ever lost."""

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.bench import actions as bench
from app.bench.rules.machine import Asked
from app.bench.rules.stages import STAGES, WAY_WORDS, WAYS
from app.capture.rules import KINDS
from app.desks.pages.common import lab_values
from app.desks.queries import earlier_order
from app.desks.rules import copied, order_from_form
from app.errors import BadInput
from app.orders.rules import ITEMS, RISKS, SHOE_KINDS
from app.people import queries as people
from app.people.permissions import may, need
from app.people.rules import Viewer
from app.people.sessions import Signed
from app.templating import go, page
from app.trade.sizes import SYSTEMS
from app.web import Form

router = APIRouter(include_in_schema=False)


NOTE_STAGES = [(key, stage.queue) for key, stage in STAGES.items() if stage.bench and key != "check_in"]


@router.get("/orders/new")
def order_form(request: Request, ask: Signed, start: str = "") -> Response:
    """An empty form, or one that starts from the pair whose code is `start`."""
    with ask.reading() as (viewer, db):
        need(viewer, "place_order")
        values = _order_values(db, viewer)
        typed = earlier_order(db, start, viewer) if start else {}
    return page(request, "desks/order.html", viewer=viewer, typed=typed, errors={}, **values)


@router.post("/orders/new")
def place_order(request: Request, ask: Signed, form: Form) -> Response:
    """Orders the pair, or copies one side to the other and shows the form again."""
    typed: dict[str, Any] = form | {name: form.all(name) for name in form if name.endswith(("additions", "risks"))}
    errors: dict[str, str] = {}
    if form.get("copy") in ("LR", "RL"):
        typed = copied(typed, form["copy"][0], form["copy"][1])
    else:
        try:
            return _place(ask, typed)
        except BadInput as refusal:
            errors = refusal.fields
    with ask.reading() as (viewer, db):
        need(viewer, "place_order")
        values = _order_values(db, viewer)
    status = 422 if errors else 200
    return page(request, "desks/order.html", viewer=viewer, status=status, typed=typed, errors=errors, **values)


def _place(ask: Signed, typed: Mapping[str, Any]) -> Response:
    with ask.writing() as (viewer, db):
        wanted = order_from_form(typed, viewer.staff_id)
        need(viewer, "place_order", wanted.clinic_id)
        if wanted.prescriber_id not in {staff_id for staff_id, _ in people.prescribers(db, {wanted.clinic_id})}:
            words = "Choose a prescriber of this clinic."
            raise BadInput(words, {"prescriber_id": words})
        placed = bench.place(db, by=viewer, wanted=wanted)
        if "here" in typed:
            asked = Asked("advance", "check_in", version=placed.version)
            bench.check_in(db, code=placed.code, asked=asked, by=viewer)
    said = "The cast is checked in." if "here" in typed else f"Write {placed.code} on the cast."
    return go(f"/pair/{placed.code}", f"Ordered. The pair's code is {placed.code}. {said}")


def _order_values(db: Session, viewer: Viewer) -> dict[str, Any]:
    own_clinics = [clinic for clinic in people.clinics(db) if may(viewer, "place_order", clinic.id)]
    return lab_values(db) | {
        "clinics": [(str(clinic.id), clinic.name) for clinic in own_clinics],
        "in_house": any(not clinic.by_parcel for clinic in own_clinics),
        "prescribers": [(str(each), name) for each, name in people.prescribers(db, {c.id for c in own_clinics})],
        "ways": [(way, WAY_WORDS[way]) for way in WAYS],
        "kinds": list(KINDS.items()),
        "items": list(ITEMS.values()),
        "risks": list(RISKS.items()),
        "shoe_kinds": list(SHOE_KINDS.items()),
        "systems": [(key, system.words) for key, system in SYSTEMS.items()],
        "note_stages": NOTE_STAGES,
        "me": str(viewer.staff_id),
    }
