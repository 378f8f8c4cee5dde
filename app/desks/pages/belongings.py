"""What came with a pair, by page: noting it, and saying what became of it."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.bench import queries
from app.bench.actions import belongings
from app.bench.rules.belongings import FATES
from app.desks.pages.pair import shown_again
from app.errors import BadInput, Unready
from app.people.permissions import need
from app.people.sessions import Signed
from app.templating import go
from app.web import Form

router = APIRouter(include_in_schema=False)


@router.post("/pair/{code}/belongings")
def note_belonging(request: Request, code: str, ask: Signed, form: Form) -> Response:
    try:
        with ask.writing() as (viewer, db):
            loaded = queries.find(db, code, viewer)
            need(viewer, "settle_belonging", loaded.row["clinic_id"])
            belongings.add(db, code=code, kind=form.get("kind", ""), side=form.get("side", ""), by=viewer)
    except BadInput as refusal:
        return shown_again(request, ask, code, refusal, form, "belonging")
    return go(f"/pair/{loaded.state.code}", "Noted: it came with the pair.")


@router.post("/pair/{code}/belongings/{belonging_id}")
def settle_belonging(request: Request, code: str, belonging_id: int, ask: Signed, form: Form) -> Response:
    becomes = form.get("becomes", "")
    try:
        with ask.writing() as (viewer, db):
            loaded = queries.find(db, code, viewer)
            need(viewer, "settle_belonging", loaded.row["clinic_id"])
            shelf = form.get("shelf", "")
            belongings.settle(db, code=code, belonging_id=belonging_id, becomes=becomes, shelf=shelf, by=viewer)
    except (BadInput, Unready) as refusal:
        return shown_again(request, ask, code, refusal, form, f"belonging-{belonging_id}")
    return go(f"/pair/{loaded.state.code}", f"Noted: {FATES[becomes].words}.")
