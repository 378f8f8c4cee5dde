"""The page of flags: what the rules have noticed, by kind, what a person says to one, and the limits they go by."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app import clock
from app.errors import BadInput, NotFound
from app.people import actions as settings
from app.people import queries as people
from app.people.permissions import may, need
from app.people.rules import Viewer
from app.people.sessions import Ask, Signed
from app.templating import go, page
from app.watch import actions, queries
from app.watch.queries import Raised
from app.watch.rules.kinds import KINDS
from app.watch.rules.settings import SETTINGS, read_limits, title
from app.web import Form, Typed

router = APIRouter(include_in_schema=False)

FEW = 10
"""Flags of each kind on the overview."""
MANY = 50
"""Flags on one page of a kind."""


@router.get("/flags")
def flags(request: Request, ask: Signed, kind: str = "", start: int = 0) -> Response:
    """Every kind with its oldest few; `kind` shows one, from the `start`th on."""
    if kind and kind not in KINDS:
        raise NotFound("There is no such kind of flag.")
    with ask.reading() as (viewer, db):
        values = _values(db, viewer, kind, min(max(start, 0), 1_000_000))
    return ask.again(page(request, "watch/flags.html", viewer=viewer, typed=Typed(), errors={}, **values))


def _values(db: Session, viewer: Viewer, kind: str, start: int) -> dict[str, Any]:
    need(viewer, "see_flags")
    found = queries.for_viewer(db, viewer)
    groups = []
    for key, each in KINDS.items():
        mine = [one for one in found if one.flag.kind == key and one.said is None]
        if mine and kind in ("", key):
            shown = mine[start : start + MANY] if kind else mine[:FEW]
            groups.append((key, each, len(mine), [_row(one, viewer) for one in shown]))
    answered = [one for one in found if one.said is not None and kind in ("", one.flag.kind)]
    return {
        "demo": people.lab(db).demo,
        "groups": groups,
        "kind": kind,
        "start": start,
        "many": MANY,
        "answered": [(KINDS[one.flag.kind].title, one) for one in answered[:MANY]],
        "more_answered": max(len(answered) - MANY, 0),
        "tomorrow": clock.today(viewer.zone) + timedelta(days=1),
    }


def _row(one: Raised, viewer: Viewer) -> dict[str, Any]:
    flag, subject = one.flag, one.subject
    return {
        "flag": flag,
        "subject": subject,
        "since": flag.since.astimezone(UTC).isoformat(),
        "id": f"{flag.kind}-{flag.pair or flag.arrival or flag.lot}",
        "may": may(viewer, "put_off_flag", subject.clinic_id),
    }


@router.get("/flags/limits")
def limits(request: Request, ask: Signed) -> Response:
    return _limits(request, ask)


def _limits(request: Request, ask: Ask, typed: Typed | None = None, errors: dict[str, str] | None = None) -> Response:
    """Every limit with its default and what the lab set instead, or what was typed where that was refused."""
    with ask.reading() as (viewer, db):
        need(viewer, "manage_lab")
        lab = people.lab(db)
    own = typed if typed is not None else {name: str(value) for name, value in lab.limits.items()}
    rows = [(name, title(each), each, own.get(name, "")) for name, each in SETTINGS.items()]
    status = 422 if errors else 200
    return page(
        request, "watch/limits.html", viewer=viewer, status=status, demo=lab.demo, rows=rows, errors=errors or {}
    )


@router.post("/flags/limits")
def change_limits(request: Request, ask: Signed, form: Form) -> Response:
    """Holds from the very next page: flags are never stored, they are found by the limits as they are."""
    try:
        with ask.writing() as (viewer, db):
            need(viewer, "manage_lab")
            settings.change_limits(db, by=viewer, limits=read_limits(form))
    except BadInput as refusal:
        return _limits(request, ask, form, refusal.fields)
    return go("/flags/limits", "The limits are saved; flags go by them from now on.")


@router.post("/flags")
def answer(request: Request, ask: Signed, form: Form) -> Response:
    """Acknowledges a flag or puts it off; what was typed comes back with its faults."""
    wanted: dict[str, Any] = {
        "kind": form.get("kind", ""),
        "pair": form.get("pair", ""),
        "arrival": _number(form.get("arrival", "")),
        "lot": _number(form.get("lot", "")),
        "reason": form.get("reason", ""),
    }
    try:
        with ask.writing() as (viewer, db):
            need(viewer, "put_off_flag")
            wanted["since"] = _instant(form.get("since", ""))
            if form.get("act") == "put_off":
                done = actions.put_off(db, by=viewer, until=_day(form.get("until", "")), **wanted)
            else:
                done = actions.acknowledge(db, by=viewer, **wanted)
    except BadInput as refusal:
        with ask.reading() as (viewer, db):
            values = _values(db, viewer, _kind_shown(form), 0)
        return page(request, "watch/flags.html", viewer=viewer, status=422, typed=form, errors=refusal.fields, **values)
    title, name = KINDS[done.flag.kind].title, done.flag.pair or done.flag.what
    said = "put off" if form.get("act") == "put_off" else "acknowledged"
    return go("/flags", f"{title}, {name}: {said}.")


def _kind_shown(form: Typed) -> str:
    """The kind whose page shows the flag that was answered: it may not be among the first few of the overview."""
    return form["kind"] if form.get("kind", "") in KINDS else ""


def _number(text: str) -> int | None:
    return int(text) if text.isdecimal() and len(text) < 19 else None


def _instant(text: str) -> datetime:
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise NotFound("This flag does not stand any more; look at the list again.") from None
    return at if at.tzinfo else at.replace(tzinfo=UTC)


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None
