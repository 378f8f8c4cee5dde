"""Where time goes, for managers: the whole way and each stage, what of it is still open, and what flows through."""

from dataclasses import replace
from datetime import date
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app import clock
from app.bench.rules.stages import STAGES, WAY_WORDS
from app.errors import BadInput
from app.orders.rules import MATERIALS
from app.people import queries as people
from app.people.permissions import need
from app.people.sessions import Signed
from app.templating import page
from app.turnaround import queries
from app.turnaround.pages import behind, late, looking, trust, what_if
from app.turnaround.queries.coming_back import clinic_names
from app.turnaround.rules import PERIODS
from app.turnaround.rules.asked import REASON_WORDS, SIDES_WORDS, Asked, dashed, preset, read_asked, row_words, usual
from app.turnaround.rules.columns import ROWS, WAY

router = APIRouter(include_in_schema=False)
for each in (late, trust, what_if):
    router.include_router(each.router)


@router.get("/turnaround")
def turnaround(request: Request, ask: Signed) -> Response:
    typed = dict(request.query_params)
    with ask.reading() as (viewer, db):
        need(viewer, "see_turnaround")
        lab, clinics = people.lab(db), clinic_names(db)
        today = clock.today(lab.zone)
        asked, errors = _asked(typed, today, clinics)
        values = looking.values(queries.figures(db, asked), today)
        anew = people.recounted(db)
    shown = page(
        request,
        "turnaround/turnaround.html",
        viewer=viewer,
        status=422 if errors else 200,
        demo=lab.demo,
        errors=errors,
        anew=anew,
        **_form_values(asked, typed, clinics, today),
        **values,
    )
    return ask.again(shown)


@router.get("/turnaround/pairs")
def pairs(request: Request, ask: Signed) -> Response:
    """The pairs behind a bar (so old) or a point (gone in that week)."""
    typed = dict(request.query_params)
    with ask.reading() as (viewer, db):
        need(viewer, "see_turnaround")
        lab, clinics = people.lab(db), clinic_names(db)
        asked, errors = _asked(typed, clock.today(lab.zone), clinics)
        values = behind.values(db, asked, typed, errors)
    words = asked.words(clinics.get(asked.clinic or 0, ""))
    return page(
        request,
        "turnaround/pairs.html",
        viewer=viewer,
        status=422 if errors else 200,
        demo=lab.demo,
        errors=errors,
        words=words,
        back=asked.address(),
        sheet=f"{request.url.path}.xlsx?{request.url.query}",
        stages=STAGES,
        **values,
    )


def _asked(typed: dict[str, str], today: date, clinics: dict[int, str]) -> tuple[Asked, dict[str, str]]:
    """What can't be shown as it was asked is said at its field, above what is usual."""
    try:
        return read_asked(typed, today, clinics), {}
    except BadInput as refusal:
        return usual(today), refusal.fields


def _form_values(asked: Asked, typed: dict[str, str], clinics: dict[int, str], today: date) -> dict[str, Any]:
    """The filters' form, the presets, and the words of what is shown."""
    presets = [
        (words.capitalize(), preset(asked, months, today).address(), months == asked.months)
        for months, words in PERIODS.items()
    ]
    return {
        "asked": asked,
        "typed": {"from": dashed(asked.first), "to": dashed(asked.last)} | typed,
        "words": asked.words(clinics.get(asked.clinic or 0, "")),
        "presets": presets,
        "everything": replace(asked, clinic=None, way=None, reason=None, shell=None, sides=None).address(),
        "clinic_list": sorted(clinics.items(), key=lambda each: each[1]),
        "way_list": list(WAY_WORDS.items()),
        "reason_list": list(REASON_WORDS.items()),
        "shell_list": list(MATERIALS.items()),
        "sides_list": list(SIDES_WORDS.items()),
        "row_list": [(row, row_words(row)) for row in (WAY, *(row for row in ROWS if row != WAY))],
    }
