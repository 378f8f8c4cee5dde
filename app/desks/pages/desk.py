"""The desk, the queues and the search."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app import clock
from app.bench import queries
from app.bench.rules.acts import (
    ENDS,
)
from app.bench.rules.stages import STAGES
from app.desks.charts import lab_trail
from app.desks.pages.common import lab_values
from app.desks.queries import own, queue_rows
from app.errors import NotFound
from app.orders import queries as orders
from app.people.permissions import need
from app.people.rules import Role, Viewer
from app.people.sessions import Signed
from app.templating import go, page
from app.trade import codes

router = APIRouter(include_in_schema=False)


@router.get("/")
def desk(request: Request, ask: Signed) -> Response:
    """What is next for this person: every stage with its count, then the own queues' first rows."""
    with ask.reading() as (viewer, db):
        values = lab_values(db)
        counts = queries.counts(db, clinics=own(viewer))
        mine = [key for key in STAGES if key in counts and stage_is_mine(key, viewer)]
        queues = [(STAGES[key], counts[key].pairs, queue_rows(db, viewer, key, limit=5)[0]) for key in mine]
        line = lab_trail(counts, values["calendar"], clock.now())
    return page(request, "desks/desk.html", viewer=viewer, queues=queues, line=line, **values)


def stage_is_mine(stage: str, viewer: Viewer) -> bool:
    """Whether a queue's work is this person's: the bench's for technicians, the clinic's for clinicians."""
    at_clinic = stage in ("receive", "return", "dispense", "wear_in")
    return viewer.has(Role.CLINICIAN if at_clinic else Role.TECHNICIAN) or (
        stage == "trim" and viewer.has(Role.CLINICIAN)
    )


@router.get("/queue")
def queues(ask: Signed) -> Response:
    """The first queue with work for this person."""
    with ask.reading() as (viewer, db):
        counts = queries.counts(db, clinics=own(viewer))
    first = next((key for key in STAGES if key in counts and stage_is_mine(key, viewer)), "check_in")
    return go(f"/queue/{first}")


@router.get("/queue/{stage}")
def queue(request: Request, stage: str, ask: Signed, after: str | None = None) -> Response:
    if stage not in STAGES:
        raise NotFound(f"There is no queue '{stage}'.")
    with ask.reading() as (viewer, db):
        need(viewer, "see_queues")
        values = lab_values(db)
        counts = queries.counts(db, clinics=own(viewer))
        rows, following = queue_rows(db, viewer, stage, after=after)
        line = lab_trail(counts, values["calendar"], clock.now(), here=stage)
    count = counts[stage].pairs if stage in counts else 0
    return page(
        request,
        "desks/queue.html",
        viewer=viewer,
        stage=STAGES[stage],
        rows=rows,
        count=count,
        line=line,
        after=after,
        following=following,
        **values,
    )


@router.get("/find")
def find(request: Request, ask: Signed, q: str = "") -> Response:
    """A pair by its code, or the pairs of a chart label that begins like this."""
    with ask.reading() as (viewer, db):
        values = lab_values(db)
        code, _, ticket = q.strip().partition("/")
        if codes.is_code_like(code):
            loaded = queries.find(db, code, viewer)
            holds = orders.holding(db, loaded.row["order_id"]).number
            # A job ticket's code ends with the prescription that it shows.
            old = ticket.isdigit() and int(ticket) != holds
            said = f"This job ticket shows prescription {ticket}; prescription {holds} holds. Print a new ticket."
            return go(f"/pair/{loaded.state.code}", said if old else "")
        rows = queries.by_label(db, q, clinics=own(viewer))
    if len(rows) == 1:
        return go(f"/pair/{rows[0].code}")
    return page(request, "desks/found.html", viewer=viewer, q=q, rows=rows, stages=STAGES, ends=ENDS, **values)
