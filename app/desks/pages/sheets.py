"""Sheets for several pairs: one bowl of plaster, one oven load; looked at here, printed as they then are."""

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from app import clock
from app.bench import actions as bench
from app.bench.rules.figures import Figure
from app.bench.rules.machine import SIDE_WORDS
from app.bench.rules.settings import BenchSettings
from app.bench.rules.sheets import OvenGroup, PourSheet, oven_origin, pour_origin, worked_out
from app.bench.rules.stages import STAGES
from app.desks.pages.common import lab_values
from app.errors import BadInput, NotFound
from app.paperwork import queries
from app.paperwork.queries import SHEETS, Batch
from app.people.permissions import need
from app.people.sessions import Signed
from app.templating import go, page
from app.web import Form

router = APIRouter(include_in_schema=False)


@router.get("/sheets/{kind}")
def sheet(request: Request, kind: str, ask: Signed, codes: list[str] = Query([])) -> Response:
    """`codes` may be given once each or in one, between commas; without any it is the first pairs of the queue."""
    with ask.reading() as (viewer, db):
        need(viewer, "work_out_sheets")
        wanted = [code for each in codes for code in each.split(",") if code.strip()]
        found = queries.batch(db, _kind(kind), wanted, clock.today(viewer.zone))
        values = lab_values(db)
    made = worked_out(kind, found.rows, found.settings, found.stock)
    return page(
        request,
        f"desks/sheet_{kind}.html",
        viewer=viewer,
        **values,
        kind=kind,
        made=made,
        origins=_origins(made, found.settings),
        labels=found.labels,
        settings=found.settings,
        left_out=found.left_out,
        codes=list(dict.fromkeys(row.code for row in found.rows)),
        chosen=bool(codes),
        side_words=SIDE_WORDS,
        stage=STAGES[SHEETS[kind]],
    )


@router.post("/sheets/{kind}")
def print_sheet(kind: str, ask: Signed, form: Form) -> Response:
    """Keeps what the sheet is printed from, and leads to the paper."""
    with ask.writing() as (viewer, db):
        need(viewer, "work_out_sheets")
        found: Batch = queries.batch(db, _kind(kind), form.all("codes") or [""], clock.today(viewer.zone))
        if not found.rows:
            words = f"None of these pairs has work at {STAGES[SHEETS[kind]].queue} any more; nothing was printed."
            raise BadInput(words)
        number = bench.keep_sheet(db, by=viewer, kind=kind, rows=found.rows, settings=found.settings, stock=found.stock)
    return go(f"/paper/sheet/{number}/printed.pdf")


def _origins(made: PourSheet | list[OvenGroup], settings: BenchSettings) -> list[Figure]:
    """Where the sheet's figures come from: once for a pour sheet, once for each group of an oven load."""
    if isinstance(made, PourSheet):
        return [pour_origin(made, settings)]
    return [oven_origin(group, settings) for group in made]


def _kind(kind: str) -> str:
    if kind not in SHEETS:
        raise NotFound(f"There is no sheet '{kind}'; there are {' and '.join(SHEETS)}.")
    return kind
