"""Why pairs come back, for managers: how many, for which reasons, and the pairs behind each figure."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app import clock
from app.bench.rules.acts import ENDS
from app.bench.rules.stages import STAGES
from app.errors import BadInput
from app.people import queries as people
from app.people.permissions import need
from app.people.sessions import Signed
from app.templating import page
from app.turnaround.queries.coming_back import Seen, clinic_names, seen
from app.turnaround.queries.returned import MOST, listed
from app.turnaround.rules import PERIODS, by_month, returned, reviewed
from app.turnaround.rules.asked import Asked, dashed, preset
from app.turnaround.rules.behind import Behind, behind_words, read_behind
from app.turnaround.rules.narrowed import read_narrowed
from app.turnaround.rules.returns import BY, KINDS, Returns, acts, last_months, month_words
from app.turnaround.rules.tabled import percent

router = APIRouter(include_in_schema=False)


@router.get(returned.PAGE)
def returns(request: Request, ask: Signed) -> Response:
    typed = dict(request.query_params)
    with ask.reading() as (viewer, db):
        need(viewer, "see_turnaround")
        lab, clinics = people.lab(db), clinic_names(db)
        today = clock.today(lab.zone)
        asked, errors = read_narrowed(typed, today, clinics)
        by = typed["by"] if typed.get("by") in BY else "reason"
        found = seen(db, asked, lab.zone, shells=by == "shell")
    shown = page(
        request,
        "turnaround/returns.html",
        viewer=viewer,
        status=422 if errors else 200,
        demo=lab.demo,
        errors=errors,
        by=by,
        **_form(asked, typed, by, clinics, today),
        **_values(found, by, clinics),
    )
    return ask.again(shown)


def _form(asked: Asked, typed: Mapping[str, str], by: str, clinics: Mapping[int, str], today: date) -> dict[str, Any]:
    presets = [
        (words.capitalize(), preset(asked, months, today).address(returned.PAGE, by=by), months == asked.months)
        for months, words in PERIODS.items()
    ]
    return {
        "asked": asked,
        "typed": {"from": dashed(asked.first), "to": dashed(asked.last)} | dict(typed),
        "words": asked.words(clinics.get(asked.clinic or 0, "")),
        "presets": presets,
        "looked_at": [(words[0], asked.address(returned.PAGE, by=name), name == by) for name, words in BY.items()],
        "clinic_list": sorted(clinics.items(), key=lambda each: each[1]),
        "sheet": asked.address(f"{returned.PAGE}.xlsx"),
        "reports": [(dashed(month), month_words(month)) for month in reversed(last_months(today))],
        "everything": asked.address(returned.PAGE, clinic="", by=by),
    }


def _values(found: Seen, by: str, clinics: Mapping[int, str]) -> dict[str, Any]:
    returns, follow = found.returns, reviewed.together(found.follow.values())
    return {
        "dispensed": f"{acts(returns.counts, 'dispense'):,}",
        "kinds": [_kind(returns, act, by, clinics) for act in KINDS],
        "follow": follow,
        "wanted": follow.due - follow.gone,
        "kept": percent(follow.kept / (follow.due - follow.gone)) if follow.due > follow.gone else "—",
        "follow_links": {
            what: returns.asked.address(returned.PAIRS, what=what) for what in ("kept", "overdue", "lost", "missed")
        },
        "follow_table": reviewed.follow_table(found.follow, clinics, returns.asked),
        "kept_chart": by_month.share_chart(reviewed.KEPT, found.kept, returns.asked, "kept"),
        "kept_table": by_month.share_table(reviewed.KEPT, found.kept, reviewed.REVIEWS),
        "kept_without": by_month.without_limits(reviewed.KEPT, found.kept),
        "kept_outside": by_month.outside(reviewed.KEPT, found.kept, good_high=True),
        "felt": reviewed.felt_tables(found.felt),
    }


def _kind(returns: Returns, act: str, by: str, clinics: Mapping[int, str]) -> dict[str, Any]:
    kind, samples, asked = KINDS[act], returns.shares[act], returns.asked
    per = returned.per_hundred(returns, act)
    return {
        "act": act,
        "title": kind.title,
        "things": kind.things,
        "count": f"{acts(returns.counts, act):,}",
        "href": asked.address(returned.PAIRS, what=act) if acts(returns.counts, act) else "",
        "per_hundred": "—" if per is None else f"{per:.1f}".removesuffix(".0"),
        "ranked": returned.ranked_chart(returns, act, by, clinics),
        "ranked_table": returned.ranked_table(returns, act, by, clinics),
        "months": by_month.share_chart(kind, samples, asked, act),
        "months_table": by_month.share_table(kind, samples),
        "without": by_month.without_limits(kind, samples),
        "outside": by_month.outside(kind, samples),
    }


@router.get(returned.PAIRS)
def pairs(request: Request, ask: Signed) -> Response:
    """The pairs behind a bar, a point or a figure."""
    typed = dict(request.query_params)
    with ask.reading() as (viewer, db):
        need(viewer, "see_turnaround")
        lab, clinics = people.lab(db), clinic_names(db)
        asked, errors = read_narrowed(typed, clock.today(lab.zone), clinics)
        behind, more = _behind(typed)
        errors |= more
        rows, count = ([], 0) if errors else listed(db, viewer, asked, lab.zone, behind)
    title, said = behind_words(behind, asked, clinics)
    return page(
        request,
        "turnaround/returned_pairs.html",
        viewer=viewer,
        status=422 if errors else 200,
        demo=lab.demo,
        errors=errors,
        title=title,
        words=said,
        rows=rows,
        count=count,
        most=MOST,
        stages=STAGES,
        ends=ENDS,
        back=asked.address(returned.PAGE, by=behind.by or None),
        sheet=f"{returned.PAIRS}.xlsx?{request.url.query}",
    )


def _behind(typed: Mapping[str, str]) -> tuple[Behind, dict[str, str]]:
    try:
        return read_behind(typed), {}
    except BadInput as refusal:
        return Behind("send_back"), refusal.fields
