"""What will be late, for managers: every open pair's days and its chance, and what it does to the others if one is
moved forward."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app import clock
from app.bench import queries as bench
from app.bench.rules.stages import STAGES
from app.errors import NotFound, Unready
from app.people import queries as people
from app.people.permissions import need
from app.people.sessions import Signed
from app.templating import page
from app.trade.worktime import words
from app.turnaround.queries import forecast
from app.turnaround.queries.forecast import PairRow
from app.turnaround.rules.charts import Foreseen, foreseen
from app.turnaround.rules.forecast.line import place_words
from app.turnaround.rules.forecast.moved import go_first
from app.turnaround.rules.forecast.odds import ASKED, Days, chance, day_at

router = APIRouter(include_in_schema=False)
SHEET = "/turnaround/late.xlsx"
"""Every forecast and how earlier ones held, as a workbook."""
ON_A_PAGE = 50
DRAWN = 12
"""Of the pairs at risk, so many are drawn."""
OLD = timedelta(hours=2)
"""Forecasts are made every quarter of an hour; older ones are said to be old."""
DAY = 24 * 60


@router.get("/turnaround/late")
def late(request: Request, ask: Signed, after: int = -1) -> Response:
    """A page of open pairs beyond the rank `after`; the first shows those at risk as a picture, too."""
    with ask.reading() as (viewer, db):
        need(viewer, "see_turnaround")
        values = lab_values(db)
        rows = forecast.listed(db, None, max(after, -1), ON_A_PAGE + 1)
        counts, certainty = forecast.counts(db, None), forecast.certainty(db)
        risky = forecast.at_risk(db, None, DRAWN) if after < 0 else []
    shown = page(
        request,
        "turnaround/late.html",
        viewer=viewer,
        rows=[(row, *_said(row)) for row in rows[:ON_A_PAGE]],
        counts=counts,
        certainty=certainty,
        chart=_drawn(risky, values["today"]) if risky else None,
        following=rows[ON_A_PAGE - 1].rank if len(rows) > ON_A_PAGE else None,
        first=after < 0,
        sheet=SHEET,
        **values,
    )
    return ask.again(shown)


def lab_values(db: Session) -> dict[str, Any]:
    """What each page of forecasts says of when they were made, and from what."""
    lab, made = people.lab(db), forecast.made(db)
    return {
        "demo": lab.demo,
        "today": clock.today(lab.zone),
        "made": made,
        "old": made is not None and _old(made.made_at),
        "thin": [place_words(place) for place in made.thin] if made else [],
        "stages": STAGES,
    }


def _old(made_at: datetime) -> bool:
    return clock.now() - made_at > OLD


def _said(row: PairRow) -> tuple[str, str]:
    """The place that costs it most, and how long that is."""
    return place_words(row.costs), words(row.costs_minutes, DAY)


def _drawn(rows: list[PairRow], today: Any) -> Any:
    pairs = [
        Foreseen(row.code, row.half_on, row.likely_on, row.nearly_on, row.promised_on, f"/pair/{row.code}")
        for row in rows
    ]
    return foreseen(pairs, today, title="The pairs most at risk, and when they will be there")


@router.get("/turnaround/late/{code}")
def moved_forward(request: Request, ask: Signed, code: str) -> Response:
    """What would be if this pair went first at every stage, in the lab as forecasts were made of it last."""
    with ask.reading() as (viewer, db):
        need(viewer, "see_turnaround")
        loaded = bench.find(db, code, viewer)
        values, kept, learnt = lab_values(db), forecast.kept(db), forecast.learnt(db)
    pairs = kept.snapshot.standing if kept else ()
    number = next((place for place, pair in enumerate(pairs) if pair.pair_id == loaded.row["id"]), None)
    if kept is None or number is None:
        raise NotFound(f"{loaded.state.code} was not on its way to a clinic when forecasts were made last.")
    if thin := kept.snapshot.thin(pairs[number]):
        known = ", ".join(map(place_words, thin))
        raise Unready(f"Too few pairs have left {known} lately: nothing is foretold of {loaded.state.code}.")
    moved = go_first(kept.snapshot, number, kept.hurried, learnt)
    shown = page(
        request,
        "turnaround/moved.html",
        viewer=viewer,
        pair=pairs[number],
        moved=moved,
        rows=list(_before_and_after(moved.before, moved.after, pairs[number].promised_on)),
        later_words=words(moved.later_minutes, DAY),
        most_words=words(moved.most_minutes, DAY),
        **values,
    )
    return ask.again(shown)


def _before_and_after(before: Days, after: Days, promised: Any) -> Iterator[tuple[str, Any, Any]]:
    for asked in ASKED:
        yield f"There by, with {asked}\u00a0%", day_at(before, asked), day_at(after, asked)
    if promised:
        was, becomes = (f"{chance(each, promised)}\u00a0%" for each in (before, after))
        yield "Chance of keeping its promise", was, becomes
