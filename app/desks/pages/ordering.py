"""The order form: prescription first, nothing typed is ever lost."""

from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from dataclasses import replace
from typing import Annotated, Any, NamedTuple

from fastapi import APIRouter, Depends, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, Response
from sqlmodel import Session
from starlette.datastructures import UploadFile

from app import clock
from app.bench import actions as bench
from app.bench.actions import Placed
from app.bench.rules.machine import Asked
from app.bench.rules.stages import STAGES, WAY_WORDS, WAYS
from app.capture.reading.scans import MOST_BYTES, ScanFile, read_upload
from app.capture.rules import KINDS, feet
from app.desks import actions
from app.desks.actions.second import second_pair
from app.desks.pages.common import NOTE_STAGES, has_files, lab_values, refuse_large
from app.desks.pages.drafting import as_lists, keep_by_button
from app.desks.pages.starts import keep_from_form, offered, take_over
from app.desks.queries import earlier_order, same_captures
from app.desks.queries.promise import typed_promise
from app.desks.rules import answers_from_form, copied, order_from_form
from app.desks.rules.live import findings_so_far, size_guide
from app.errors import BadInput
from app.orders.actions.drafts import throw_draft_away
from app.orders.queries.drafts import draft as kept_draft
from app.orders.queries.drafts import drafts
from app.orders.rules import ITEMS, RISKS, SHOE_KINDS
from app.orders.rules.checks import Unanswered
from app.orders.rules.drafts import new_key
from app.people import queries as people
from app.people.permissions import may, need
from app.people.rules import Viewer
from app.people.sessions import Ask, Signed
from app.templating import go, page, part
from app.trade.footmesh import NotAFootMesh
from app.trade.prescription import Finding
from app.trade.sizes import SYSTEMS
from app.web import MAX_BODY, Form

router = APIRouter(include_in_schema=False)


def _copy(_ask: Ask, typed: Mapping[str, Any]) -> tuple[dict[str, Any], str]:
    """One side's prescription and capture over the other's."""
    way = typed["copy"]
    return (copied(typed, way[0], way[1]) if way in ("LR", "RL") else dict(typed)), ""


AGAIN: dict[str, Callable[[Ask, Mapping[str, Any]], tuple[dict[str, Any], str]]] = {
    "copy": _copy,
    "take": take_over,
    "keep_start": keep_from_form,
}
"""Buttons after which the form comes again, filled in anew, with what is said of it."""
NOT_YET = ("keep_draft", *AGAIN)
"""Buttons that do not order: the form's scan files are left alone."""


class Scans(NamedTuple):
    """The scan files that came with a form, by side: those that were read, and what is wrong with the others."""

    sent: list[str]
    files: dict[str, ScanFile]
    faults: dict[str, str]

    def once_more(self) -> dict[str, str]:
        """At the fields of a form that comes back: a browser does not send a file a second time by itself."""
        again = "Choose this file once more; a browser keeps what was typed, but no file."
        return {f"scan.{side}": self.faults.get(side, again) for side in self.sent}


async def _within_limits(request: Request) -> AsyncIterator[None]:
    """Only a form with files may be large; the files are gone when it is answered."""
    if not has_files(request):
        refuse_large(request)
    async with request.form(max_files=2, max_fields=400):
        yield


async def _scans(request: Request, ask: Signed) -> Scans:
    """Read once it is known that this person may order, and not when nothing is ordered yet."""
    form = await request.form()
    uploads = {side: each for side in ("L", "R") if isinstance(each := form.get(f"scan.{side}"), UploadFile)}
    scans = Scans([side for side, each in uploads.items() if each.filename], {}, {})
    if scans.sent and not any(button in form for button in NOT_YET):
        await run_in_threadpool(_may_order, ask)
        for side in scans.sent:
            try:
                scans.files[side] = await read_upload(uploads[side])
            except NotAFootMesh as fault:
                scans.faults[side] = str(fault)
    return scans


def _may_order(ask: Ask) -> None:
    with ask.reading() as (viewer, _):
        need(viewer, "place_order")


@router.get("/orders/new")
def order_form(request: Request, ask: Signed, start: str = "", second: str = "", draft: str = "") -> Response:
    """An empty form; one that starts from the pair whose code is `start`, or from whose captures a `second` is made; or
    a draft as it was left."""
    with ask.reading() as (viewer, db):
        need(viewer, "place_order")
        typed: dict[str, Any] = {"units": viewer.units, "draft": new_key()}
        if draft:
            typed |= kept_draft(db, viewer, draft) | {"draft": draft}
        elif second:
            typed |= earlier_order(db, second, viewer) | same_captures(db, second, viewer)
        elif start:
            typed |= earlier_order(db, start, viewer)
        values = _order_values(db, viewer, typed) | _guide(db, viewer, typed)
    return page(request, "desks/order.html", viewer=viewer, typed=typed, errors={}, **values)


@router.post("/orders/new", max_body_size=2 * MOST_BYTES + MAX_BODY, dependencies=[Depends(_within_limits)])
def place_order(request: Request, ask: Signed, form: Form, scans: Annotated[Scans, Depends(_scans)]) -> Response:
    """Orders the pair; or does what another of the form's buttons says, after which the form is there again."""
    typed = as_lists(form)
    errors: dict[str, str] = {}
    found: Sequence[Finding] = ()
    said, status = "", 200
    try:
        if "keep_draft" in form:
            return keep_by_button(ask, typed)
        button = next((name for name in AGAIN if name in form), None)
        if button is None:
            return _place(ask, typed, scans)
        typed, said = AGAIN[button](ask, typed)
    except BadInput as refusal:
        errors, status = refusal.fields, 422
        found = refusal.findings if isinstance(refusal, Unanswered) else ()
    errors = scans.once_more() | errors
    with ask.reading() as (viewer, db):
        need(viewer, "place_order")
        values = _order_values(db, viewer, typed) | {"findings": found, "said": said} | _guide(db, viewer, typed)
    return page(request, "desks/order.html", viewer=viewer, status=status, typed=typed, errors=errors, **values)


def _place(ask: Signed, typed: Mapping[str, Any], scans: Scans) -> Response:
    with ask.writing() as (viewer, db):
        wanted = order_from_form(typed, viewer.staff_id, {side: scans.faults.get(side, "") for side in scans.sent})
        need(viewer, "place_order", wanted.clinic_id)
        if wanted.prescriber_id not in {staff_id for staff_id, _ in people.prescribers(db, {wanted.clinic_id})}:
            words = "Choose a prescriber of this clinic."
            raise BadInput(words, {"prescriber_id": words})
        answers = replace(answers_from_form(typed), feet=feet({side: file.mesh for side, file in scans.files.items()}))
        if same := str(typed.get("same", "")):
            placed = second_pair(db, by=viewer, wanted=replace(wanted, captured_on=None), same=same, answers=answers)
        else:
            placed = bench.place(db, by=viewer, wanted=wanted, answers=answers)
        for side, file in scans.files.items():
            actions.add_scan(db, ask.request.app.state.storage, code=placed.code, side=side, file=file, by=viewer)
        if "here" in typed and placed.starts_at == "check_in":
            asked = Asked("advance", "check_in", version=placed.version)
            actions.check_in(db, code=placed.code, asked=asked, by=viewer)
        throw_draft_away(db, by=viewer, key=str(typed.get("draft", "")))
    said = _what_now(placed, set(wanted.captures.values()), "here" in typed, len(scans.files))
    return go(f"/pair/{placed.code}", f"Ordered. The pair's code is {placed.code}. {said}")


@router.post("/orders/checks")
def look_so_far(ask: Signed, form: Form) -> Response:
    """The checks of a form that is still being filled in, as a part of its page; nothing is written."""
    typed = as_lists(form)
    with ask.reading() as (viewer, db):
        need(viewer, "place_order")
        guide = _guide(db, viewer, typed) | {"zone": viewer.zone}
    found = findings_so_far(typed, clock.today(viewer.zone), guide["allowance"])
    return HTMLResponse(part("desks/live.html", typed=typed, findings=found, alone=True, **guide))


def _what_now(placed: Placed, kinds: set[str], checked_in: bool, scans: int) -> str:
    if placed.starts_at != "check_in":
        return f"It starts at {STAGES[placed.starts_at].queue}, from the captures that are here."
    if checked_in:
        return "It is checked in."
    if not kinds:
        return "It waits for the same captures as the earlier pair."
    if kinds != {"scan"}:
        return f"Write {placed.code} on the cast, and put the printed order into its box."
    return "Its scans are with it." if scans else "Its scan files can be added here."


def _guide(db: Session, viewer: Viewer, typed: Mapping[str, Any]) -> dict[str, Any]:
    allowance = people.lab(db).last_allowance
    first = next((clinic.id for clinic in people.clinics(db) if may(viewer, "place_order", clinic.id)), None)
    return {
        "sizes": size_guide(typed, allowance),
        "allowance": allowance,
        "promise": typed_promise(db, viewer, typed, first),
    }


def _order_values(db: Session, viewer: Viewer, typed: Mapping[str, Any]) -> dict[str, Any]:
    own_clinics = [clinic for clinic in people.clinics(db) if may(viewer, "place_order", clinic.id)]
    return lab_values(db) | {
        "clinics": [(str(clinic.id), clinic.name) for clinic in own_clinics],
        "in_house": any(not clinic.by_parcel for clinic in own_clinics),
        "prescribers": [(str(each), name) for each, name in people.prescribers(db, {c.id for c in own_clinics})],
        "ways": [(way, WAY_WORDS[way]) for way in WAYS],
        "kinds": list(KINDS.items()),
        "items": list(ITEMS.values()),
        "risks": list(RISKS.items()),
        "shoe_kinds": list(SHOE_KINDS.items()),
        "systems": [(key, system.words) for key, system in SYSTEMS.items()],
        "note_stages": NOTE_STAGES,
        "me": str(viewer.staff_id),
        "findings": (),
        "starts": offered(db, viewer),
        "drafts": [each for each in drafts(db, viewer) if each.key != typed.get("draft")],
    }
