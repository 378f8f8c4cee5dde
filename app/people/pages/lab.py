"""Where a manager changes the lab's settings, its working hours and its clinics."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.errors import BadInput
from app.people import actions, queries
from app.people.pages.forms import UNITS, choices, read_days, read_ids, read_lab, read_text
from app.people.permissions import need
from app.people.rules import WAITS_FOR
from app.people.sessions import Ask, Signed
from app.templating import go, page
from app.trade.units import length_typed
from app.web import Form, Typed

router = APIRouter(prefix="/lab")


@router.get("")
def lab_form(request: Request, ask: Signed) -> Response:
    return _lab(request, ask)


def _lab(
    request: Request,
    ask: Ask,
    typed: Typed | None = None,
    errors: dict[str, str] | None = None,
    clinic: dict[str, Any] | None = None,
) -> Response:
    """`typed` replaces what is stored of the lab where it was refused, `clinic` (with its id) that of a clinic."""
    with ask.reading() as (viewer, db):
        need(viewer, "manage_lab")
        demo, clinics = queries.lab(db).demo, queries.clinics(db)
        typed, anew = typed or _stored(db), queries.recounted(db)
    return page(
        request,
        "people/lab.html",
        viewer=viewer,
        status=422 if errors else 200,
        demo=demo,
        clinics=clinics,
        anew=anew,
        typed=typed,
        clinic_typed=clinic,
        errors=errors or {},
        **choices(typed.get("zone", "")),
    )


def _stored(db: Session) -> Typed:
    """The settings in the form in which the page's fields would send them."""
    lab, calendar = queries.lab(db), queries.calendar_row(db)
    pairs = [(key, str(getattr(lab, key))) for key in ("name", "address", "phone", "zone")]
    pairs += [("country", calendar.country), ("region", calendar.region), ("closures", " ".join(calendar.closures))]
    pairs += [("stages_on", stage) for stage in lab.stages_on]
    pairs += [("marks_start", "yes")] if lab.marks_start else []
    pairs += [("last_allowance", length_typed(lab.last_allowance))]
    for day, spans in enumerate(calendar.hours):
        if spans:
            pairs += [(f"from.{day}", spans[0][0]), (f"to.{day}", spans[-1][1])]
        if len(spans) == 2:
            pairs += [(f"pause.{day}", spans[0][1]), (f"again.{day}", spans[1][0])]
    return Typed(pairs)


@router.post("")
def change_lab(request: Request, ask: Signed, form: Form) -> Response:
    wrong: dict[str, str] = {}
    lab, calendar = read_lab(form, wrong)
    if wrong:
        return _lab(request, ask, form, wrong)
    with ask.writing() as (viewer, db):
        need(viewer, "manage_lab")
        actions.change_lab(db, by=viewer, calendar=calendar, **lab)
    return go("/lab", "The lab's settings are saved.")


@router.post("/clinics")
def keep_clinic(request: Request, ask: Signed, form: Form) -> Response:
    wrong: dict[str, str] = {}
    clinic: dict[str, Any] = {
        "name": read_text(form, "clinic", "The clinic's name", wrong),
        "address": read_text(form, "clinic_address", "The address", wrong, most=400),
        "phone": read_text(form, "clinic_phone", "The telephone number", wrong, most=40),
        "by_parcel": "by_parcel" in form,
        "trims": "trims" in form,
        "wearer_pages": "wearer_pages" in form,
        "units": form.get("units", "metric"),
        "waits_for": [name for name in WAITS_FOR if name in form.all("waits_for")],
        "transit_days": read_days(form, "transit_days", wrong),
    }
    if clinic["units"] not in UNITS:
        wrong["units"] = f"Units are one of {', '.join(UNITS)}."
    ids = read_ids(form, "clinic_id")
    clinic_id = ids[0] if ids else None
    try:
        with ask.writing() as (viewer, db):
            need(viewer, "manage_lab")
            if wrong:
                raise BadInput("The clinic needs another look.", wrong)
            actions.keep_clinic(db, by=viewer, clinic_id=clinic_id, **clinic)
    except BadInput as refusal:
        return _lab(request, ask, errors=refusal.fields, clinic=clinic | {"id": clinic_id})
    return go("/lab", f"{clinic['name']} is saved.")
