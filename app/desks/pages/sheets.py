"""Sheets for several pairs: one bowl of plaster, one oven load; looked at here, printed as they then are."""

from collections.abc import Callable, Sequence

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from app.bench import actions as bench
from app.bench.rules.figures import Figure
from app.bench.rules.machine import SIDE_WORDS
from app.bench.rules.settings import BenchSettings
from app.bench.rules.sheets import Given, OvenGroup, PourSheet, oven_load, oven_origin, pour_origin, pour_sheet
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
WORKED_OUT: dict[str, Callable[[Sequence[Given], BenchSettings], PourSheet | list[OvenGroup]]] = {
    "pour": pour_sheet,
    "oven": oven_load,
}


@router.get("/sheets/{kind}")
def sheet(request: Request, kind: str, ask: Signed, codes: list[str] = Query([])) -> Response:
    """`codes` may be given once each or in one, between commas; without any it is the first pairs of the queue."""
    with ask.reading() as (viewer, db):
        need(viewer, "work_out_sheets")
        found = queries.batch(db, _kind(kind), [code for each in codes for code in each.split(",") if code.strip()])
        values = lab_values(db)
    made = WORKED_OUT[kind](found.rows, found.settings)
    return page(
        request,
        f"desks/sheet_{kind}.html",
        viewer=viewer,
        **values,
        kind=kind,
        made=made,
        origins=_origins(made, found.settings),
        unknown=", ".join(f"{row.code} {SIDE_WORDS[row.side]}" for row in found.rows if row.cm3 is None),
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
        found: Batch = queries.batch(db, _kind(kind), form.all("codes") or [""])
        if not found.rows:
            words = f"None of these pairs has work at {STAGES[SHEETS[kind]].queue} any more; nothing was printed."
            raise BadInput(words)
        number = bench.keep_sheet(db, by=viewer, kind=kind, rows=found.rows, settings=found.settings)
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
