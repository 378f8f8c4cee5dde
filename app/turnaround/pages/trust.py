"""Can forecasts be trusted? How those of the past year held, in words, beside the plain ones they have to beat."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.people.permissions import need
from app.people.sessions import Signed
from app.templating import page
from app.turnaround.pages.late import lab_values
from app.turnaround.queries import forecast
from app.turnaround.rules.charts import Chart, Kept, trust
from app.turnaround.rules.forecast.line import place_words
from app.turnaround.rules.forecast.scored import TELLING, Score, verdict
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
    whole = Score(*tested.scores["all"])
    ahead, place, left = ([Score(*row) for row in tested.scores[name]] for name in ("ahead", "place", "left"))
    place = [each._replace(key=place_words(each.key)) for each in place]
    left = [each._replace(key=f"{each.key} {'stage' if each.key == '1' else 'stages'}") for each in left]
    return {
        "whole": whole,
        "verdict": verdict(whole),
        "chart": _drawn(ahead, "Days that were named with 85 %, by how far ahead"),
        "tables": [
            ("How far ahead the day was", ahead),
            ("Stages still to pass", left),
            ("Where the pair stood", place),
        ],
    }


def _drawn(rows: list[Score], title: str) -> Chart | None:
    kept = [Kept(each.key, 0.85, each.likely, each.size) for each in rows if each.size >= TELLING]
    return trust(kept, title=title) if kept else None
