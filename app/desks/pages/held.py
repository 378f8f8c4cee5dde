"""A clinic's wearers whose pair holds a held lot: who was told, and which pairs have come back."""

from itertools import groupby

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.bench import queries
from app.bench.actions import holding
from app.bench.rules.acts import ENDS
from app.bench.rules.stages import STAGES
from app.desks.rules import whole
from app.people import queries as people
from app.people.permissions import need
from app.people.sessions import Signed
from app.templating import go, page
from app.web import Form

router = APIRouter(include_in_schema=False)
NOTED = {"told": "the wearer was told", "returned": "the pair was returned"}


@router.get("/materials/held")
def held(request: Request, ask: Signed) -> Response:
    with ask.reading() as (viewer, db):
        need(viewer, "tell_of_lot")
        rows = queries.notices(db, clinics=viewer.clinics)
        demo = people.lab(db).demo
    lots = [list(of) for _, of in groupby(rows, lambda row: row.hold_id)]
    return page(request, "desks/held.html", viewer=viewer, demo=demo, lots=lots, stages=STAGES, ends=ENDS)


@router.post("/materials/held")
def note_held(ask: Signed, form: Form) -> Response:
    what, hold_id, pair_id = form.get("what", ""), whole(form.get("hold", "")), whole(form.get("pair", ""))
    with ask.writing() as (viewer, db):
        need(viewer, "tell_of_lot")
        code = holding.tick(db, hold_id=hold_id, pair_id=pair_id, what=what, by=viewer)
    return go("/materials/held", f"{code}: {NOTED[what]}.")
