"""Where time goes, for managers: each stage's usual and long stays, and the share of promises kept."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.bench.rules.stages import STAGES
from app.people import queries as people
from app.people.permissions import need
from app.people.sessions import Signed
from app.templating import page
from app.trade.worktime import words
from app.turnaround import queries
from app.turnaround.rules import PERIODS

router = APIRouter(include_in_schema=False)
DAY = 24 * 60


@router.get("/turnaround")
def turnaround(request: Request, ask: Signed, months: int = 3) -> Response:
    months = months if months in PERIODS else 3
    with ask.reading() as (viewer, db):
        need(viewer, "see_turnaround")
        lab, day = people.lab(db), people.work_calendar(db).standard_day_minutes()
        figures = queries.figures(db, months)
    rows = []
    for here in figures.stages:
        stage, times = STAGES[here.stage], here.times
        length = day if stage.bench else DAY
        rows.append(
            {
                "queue": stage.queue,
                "href": f"/queue/{here.stage}",
                "open": here.open,
                "oldest": "—" if here.oldest is None else words(here.oldest, length),
                "median": words(round(times.median), length) if times else "—",
                "ninetieth": words(round(times.ninetieth), length) if times else "—",
                "count": times.stays if times else 0,
                "clock": "" if stage.bench else "by the clock",
            }
        )
    shown = page(
        request,
        "turnaround/turnaround.html",
        viewer=viewer,
        demo=lab.demo,
        rows=rows,
        months=months,
        periods=list(PERIODS.items()),
        met=figures.kept,
        asked=figures.promised,
        day_hours=f"1\u00a0d\u00a0=\u00a0{day / 60:g}\u00a0h",
        open_pairs=figures.open_pairs,
        parked=figures.parked,
    )
    return ask.again(shown)
