"""Approval and payment of a pair, by page: how they stand, without amounts."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.bench import queries
from app.desks.pages.pair import shown_again
from app.errors import BadInput
from app.orders import actions as orders
from app.people.permissions import need
from app.people.sessions import Signed
from app.templating import go
from app.web import Form

router = APIRouter(include_in_schema=False)
FIELDS = ("approval", "number", "on", "payment")


@router.post("/pair/{code}/dues")
def note_dues(request: Request, code: str, ask: Signed, form: Form) -> Response:
    try:
        with ask.writing() as (viewer, db):
            loaded = queries.find(db, code, viewer)
            need(viewer, "note_dues", loaded.row["clinic_id"])
            raw = {name: form.get(f"dues.{name}", "") for name in FIELDS}
            orders.note_dues(db, by=viewer, order_id=loaded.row["order_id"], raw=raw)
    except BadInput as refusal:
        return shown_again(request, ask, code, refusal, form, "dues")
    return go(f"/pair/{loaded.state.code}", "Noted: how approval and payment stand.")
