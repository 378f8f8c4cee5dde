"""A wearer moves to another clinic: which, why, and a tick, because the record and every pair go along."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.bench import queries
from app.bench.queries import Loaded
from app.bench.rules.acts import ENDS
from app.bench.rules.machine import Asked
from app.bench.rules.stages import STAGES
from app.desks import actions
from app.desks.pages.common import lab_values
from app.errors import BadInput, Refusal
from app.people import queries as people
from app.people.permissions import need
from app.people.sessions import Ask, Signed
from app.templating import go, page
from app.web import Form, Typed

router = APIRouter(include_in_schema=False)


@router.get("/pair/{code}/transfer")
def transfer_form(request: Request, code: str, ask: Signed) -> Response:
    return _form(request, ask, code, Typed(), {})


def _form(request: Request, ask: Ask, code: str, typed: Typed, errors: dict[str, str], status: int = 200) -> Response:
    with ask.reading() as (viewer, db):
        need(viewer, "transfer_wearer")
        values = _values(db, queries.find(db, code, viewer))
    return page(request, "desks/transfer.html", viewer=viewer, status=status, typed=typed, errors=errors, **values)


def _values(db: Session, loaded: Loaded) -> dict[str, Any]:
    here = loaded.row["clinic_id"]
    clinics = people.clinics(db)
    pairs = queries.of_wearer(db, loaded.row["patient_id"])
    return lab_values(db) | {
        "state": loaded.state,
        "label": loaded.row["label"],
        "clinic": next(clinic.name for clinic in clinics if clinic.id == here),
        "others": [(str(clinic.id), clinic.name) for clinic in clinics if clinic.id != here],
        "pairs": [(pair.code, STAGES[pair.stage].queue if pair.stage else ENDS[str(pair.end)]) for pair in pairs],
    }


@router.post("/pair/{code}/transfer")
def transfer(request: Request, code: str, ask: Signed, form: Form) -> Response:
    """All of it in one act; a chart number that the other clinic has already is told at its field."""
    clinic, version = form.get("clinic", ""), form.get("version", "")
    try:
        with ask.writing() as (viewer, db):
            need(viewer, "transfer_wearer")
            _check(form)
            asked = Asked(
                "transfer",
                form.get("from_stage") or None,
                reason=form["reason"].strip(),
                version=int(version) if version.isdecimal() else None,
                facts={"clinic": int(clinic)},
            )
            moved = actions.do(db, code=code, asked=asked, by=viewer)
            where = people.clinic(db, int(clinic)).name
    except Refusal as refusal:
        if refusal.status not in (409, 422):
            raise
        errors = refusal.fields if isinstance(refusal, BadInput) else {"": refusal.sentence}
        return _form(request, ask, code, form, errors, refusal.status)
    return go(f"/pair/{moved.state.code}", f"The wearer and every pair are at {where} now.")


def _check(form: Typed) -> None:
    wrong: dict[str, str] = {}
    if not form.get("clinic", "").isdecimal():
        wrong["clinic"] = "Choose the clinic that the wearer moves to."
    if not form.get("reason", "").strip():
        wrong["reason"] = "Give the reason; it is kept with every pair."
    if "confirm" not in form:
        wrong["confirm"] = "Tick that the record and every pair go along."
    if wrong:
        raise BadInput("The transfer needs another look; nothing was changed.", wrong)
