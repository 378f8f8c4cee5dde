"""Where a clinician or a manager keeps the wearing-in plans of a clinic, beside the published ones."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.errors import BadInput
from app.fitting import actions
from app.fitting.queries import own_words, plans
from app.fitting.rules.plan import hours_words
from app.people import queries as people
from app.people.permissions import may, need
from app.people.rules import Viewer
from app.people.sessions import Ask, Signed
from app.templating import go, page
from app.trade import wearing
from app.web import Form, Typed

router = APIRouter(prefix="/plans")
NOTHING = Typed()


@router.get("")
def plan_list(request: Request, ask: Signed) -> Response:
    return _plans(request, ask)


def _plans(request: Request, ask: Ask, typed: Typed = NOTHING, errors: dict[str, str] | None = None) -> Response:
    with ask.reading() as (viewer, db):
        need(viewer, "keep_wearing_plans")
        values = _values(db, viewer)
    return page(
        request,
        "fitting/plans.html",
        viewer=viewer,
        status=422 if errors else 200,
        typed=typed,
        errors=errors or {},
        published=[(each.words, f"up to {hours_words(each.target_minutes)}", each.source) for each in PUBLISHED],
        **values,
    )


PUBLISHED = tuple(wearing.PLANS.values())


def _values(db: Session, viewer: Viewer) -> dict[str, Any]:
    mine = [each for each in people.clinics(db) if may(viewer, "keep_wearing_plans", each.id)]
    rows = plans.offered(db, [each.id for each in mine])
    return {
        "demo": people.lab(db).demo,
        "clinics": [
            (each.id, each.name, [(row, own_words(row)) for row in rows if row.clinic_id == each.id]) for each in mine
        ],
    }


@router.post("")
def keep_plan(request: Request, ask: Signed, form: Form) -> Response:
    """Adds a plan, or changes the one whose number came along."""
    plan_id = _number(form, "plan_id") if form.get("plan_id") else None
    try:
        with ask.writing() as (viewer, db):
            clinic_id = _number(form, "clinic_id")
            name = actions.keep_plan(db, clinic_id=clinic_id, plan_id=plan_id, typed=form, by=viewer)
    except BadInput as refusal:
        return _plans(request, ask, form, refusal.fields)
    return go("/plans", f"{name} is offered at dispensing. Whoever is worn in by an earlier one keeps its hours.")


@router.post("/end")
def end_plan(ask: Signed, form: Form) -> Response:
    with ask.writing() as (viewer, db):
        clinic_id, plan_id = _number(form, "clinic_id"), _number(form, "plan_id")
        name = actions.drop_plan(db, clinic_id=clinic_id, plan_id=plan_id, by=viewer)
    return go("/plans", f"{name} is not offered any more. Whoever is worn in by it keeps its hours.")


def _number(form: Typed, name: str) -> int:
    """What can't be a number becomes 0, which no row has."""
    raw = form.get(name, "")
    return int(raw) if raw.isascii() and raw.isdecimal() and len(raw) < 10 else 0
