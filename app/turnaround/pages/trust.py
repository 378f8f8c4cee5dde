"""Can forecasts be trusted? How those of the past year held, in words, beside the plain ones they have to beat."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.people.permissions import need
from app.people.sessions import Signed
from app.templating import page
from app.turnaround.pages.late import SHEET, lab_values
from app.turnaround.queries import forecast
from app.turnaround.rules.charts import Chart, Kept, trust
from app.turnaround.rules.forecast.scored import TELLING, Score, grouped, verdict
from app.turnaround.tables import BackTest

router = APIRouter(include_in_schema=False)


@router.get("/turnaround/trust")
def trusted(request: Request, ask: Signed) -> Response:
    with ask.reading() as (viewer, db):
        need(viewer, "see_turnaround")
        values, tested, weeks = lab_values(db), forecast.tested(db), forecast.count_weeks(db)
    shown = page(
        request,
        "turnaround/trust.html",
        viewer=viewer,
        tested=tested,
        weeks=weeks,
        telling=TELLING,
        **(_read(tested) if tested else {}),
        **values,
    )
    return ask.again(shown)


def _read(tested: BackTest) -> dict[str, Any]:
    whole, tables = Score(*tested.scores["all"]), grouped(tested.scores)
    return {
        "whole": whole,
        "verdict": verdict(whole),
        "chart": _drawn(tables[0][1], "Days that were named with 85 %, by how far ahead"),
        "tables": tables,
        "sheet": SHEET,
    }


def _drawn(rows: list[Score], title: str) -> Chart | None:
    kept = [Kept(each.key, 0.85, each.likely, each.size) for each in rows if each.size >= TELLING]
    return trust(kept, title=title) if kept else None
