"""What if: people more or away at a bench, twenty rush pairs; and what to do when more is promised than can be done."""

from collections.abc import Mapping, Sequence
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.bench.rules.stages import WAY_WORDS, WAYS
from app.errors import BadInput
from app.people import queries as people
from app.people.permissions import need
from app.people.sessions import Signed
from app.templating import page
from app.turnaround.pages.late import lab_values
from app.turnaround.queries import forecast
from app.turnaround.rules.charts import Chart
from app.turnaround.rules.charts.load import Count, by_day
from app.turnaround.rules.forecast.kept import Kept
from app.turnaround.rules.forecast.line import place_words
from app.turnaround.rules.forecast.made import Kind
from app.turnaround.rules.forecast.standing import Standing
from app.turnaround.rules.forecast.tried import FULL, Outlook, days_ahead, loads, outlook, remedies, rush, to_come
from app.turnaround.rules.forecast.trusted import Learnt
from app.turnaround.rules.forecast.wished import A_WEEK, LIMITS, Tried, read_tried

router = APIRouter(include_in_schema=False)
MOST_ANEW = 10


@router.get("/turnaround/what-if")
def what_if(request: Request, ask: Signed) -> Response:
    """The lab as forecasts were made of it last, walked on as it is and as it would be; nothing is changed."""
    typed = dict(request.query_params)
    with ask.reading() as (viewer, db):
        need(viewer, "see_turnaround")
        values, kept, learnt = lab_values(db), forecast.kept(db), forecast.learnt(db)
        stages_on, certainty = frozenset(people.lab(db).stages_on), forecast.certainty(db)
    try:
        tried, errors = read_tried(typed), {}
    except BadInput as refusal:
        tried, errors = Tried(), refusal.fields
    shown = page(
        request,
        "turnaround/what_if.html",
        viewer=viewer,
        status=422 if errors else 200,
        typed={"days": str(A_WEEK)} | typed,
        errors=errors,
        tried=tried,
        limits=LIMITS,
        ways=[(way, WAY_WORDS[way]) for way in WAYS],
        certainty=certainty,
        **(_answer(kept, tried, learnt, stages_on, certainty) if kept else {}),
        **values,
    )
    return ask.again(shown)


def _answer(kept: Kept, tried: Tried, learnt: Learnt, stages_on: frozenset[str], certainty: int) -> dict[str, Any]:
    lab = kept.snapshot
    days = days_ahead(kept.paces)
    coming = to_come(lab, kept.paces, stages_on, days)
    added = rush(lab, _usual(kept.paces, tried.way), stages_on, tried.rush)
    now = outlook(lab, coming, {}, learnt, days, tried.by_person)
    then = outlook(lab, [*coming, *added], tried.changes, learnt, days, tried.by_person) if tried.anything else now
    return {
        "days": days,
        "now": now,
        "then": then,
        "chart": _drawn(now, then, tried) if now.days else None,
        "benches": [(place_words(load.place), load) for load in loads(lab)],
        "coming": len(coming),
        "plan": _plan(kept, [*coming, *added], tried, learnt, then, certainty),
    }


def _usual(paces: Mapping[Kind, float], way: str) -> Kind:
    """The kind of clinic that orders most of this way."""
    mine = [kind for kind in paces if kind.way == way]
    return max(mine, key=lambda kind: paces[kind], default=Kind(way, False, False, "order"))


def _drawn(now: Outlook, then: Outlook, tried: Tried) -> Chart:
    counts = [Count("as it is", [day.there for day in now.days])]
    if tried.anything:
        counts.append(Count("as tried", [day.there for day in then.days]))
    counts.append(Count("promised", [day.promised for day in then.days]))
    return by_day([day.day for day in now.days], counts, title="Pairs at their clinics by the end of each working day")


def _plan(
    kept: Kept, more: Sequence[Standing], tried: Tried, learnt: Learnt, then: Outlook, certainty: int
) -> dict[str, Any] | None:
    """Nothing to plan where no more is promised than can be there."""
    if then.first is None or then.worst is None:
        return None
    helps = remedies(kept.snapshot, more, tried, learnt, then)
    anew = then.doubtful(then.worst.day, certainty)
    return {
        "first": then.first,
        "worst": then.worst,
        "remedies": [(place_words(each.place), each.place, each.kept) for each in helps],
        "anew": anew[:MOST_ANEW],
        "count": len(anew),
        "too_many": len(then.pairs) > FULL,
    }
