"""The positives of a pair by people: on which shelf each stands, and that one is broken or thrown away."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.bench.rules.machine import SIDE_WORDS
from app.desks.actions.positives import change_positive
from app.desks.pages.pair import shown_again
from app.errors import Refusal
from app.people.sessions import Signed
from app.templating import go
from app.web import Form

router = APIRouter(include_in_schema=False)
DONE = {"put": "stands there now", "broken": "is written down as broken", "thrown_away": "is thrown away"}


@router.post("/pair/{code}/positive/{side}")
def change(request: Request, code: str, side: str, ask: Signed, form: Form) -> Response:
    act = form.get("act", "")
    try:
        with ask.writing() as (viewer, db):
            loaded = change_positive(db, code=code, side=side, act=act, shelf=form.get("shelf", ""), by=viewer)
    except Refusal as refusal:
        if refusal.status in (401, 403, 404):
            raise
        return shown_again(request, ask, code, refusal, form, "positive")
    said = f"{loaded.state.code}: the positive, {SIDE_WORDS[side]}, {DONE[act]}."
    return go(f"/pair/{loaded.state.code}#positives", said)
