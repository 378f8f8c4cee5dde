"""The order form: prescription first, nothing typed is ever lost."""

from collections.abc import AsyncIterator, Mapping, Sequence
from dataclasses import replace
from typing import Annotated, Any, NamedTuple

from fastapi import APIRouter, Depends, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, Response
from sqlmodel import Session
from starlette.datastructures import UploadFile

from app import clock
from app.bench import actions as bench
from app.bench.rules.machine import Asked
from app.bench.rules.stages import STAGES, WAY_WORDS, WAYS
from app.capture.reading import MOST_BYTES, ScanFile, read_upload
from app.capture.rules import KINDS, feet
from app.desks import actions
from app.desks.pages.common import lab_values
from app.desks.queries import earlier_order
from app.desks.rules import answers_from_form, copied, order_from_form
from app.desks.rules.live import findings_so_far, size_guide
from app.errors import BadInput, TooLarge
from app.orders.rules import ITEMS, RISKS, SHOE_KINDS
from app.orders.rules.checks import Unanswered
from app.people import queries as people
from app.people.permissions import may, need
from app.people.rules import Viewer
from app.people.sessions import Ask, Signed
from app.templating import go, page, part
from app.trade.footmesh import NotAFootMesh
from app.trade.prescription import Finding
from app.trade.sizes import SYSTEMS
from app.web import MAX_BODY, Form, Typed

router = APIRouter(include_in_schema=False)


def as_lists(form: Typed) -> dict[str, Any]:
    """A form in which the boxes of one name, additions and risks, are the list of those that were ticked."""
    return form | {name: form.all(name) for name in form if name.endswith(("additions", "risks"))}


NOTE_STAGES = [(key, stage.queue) for key, stage in STAGES.items() if stage.bench and key != "check_in"]


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
    length = request.headers.get("content-length", "")
    files = request.headers.get("content-type", "").startswith("multipart/form-data")
    if not files and (not length.isdigit() or int(length) > MAX_BODY):
        raise TooLarge(f"An order without scan files has at most {MAX_BODY:,} bytes.")
    async with request.form(max_files=2, max_fields=400):
        yield


async def _scans(request: Request, ask: Signed) -> Scans:
    """Read once it is known that this person may order, and not when a side is only to be copied."""
    form = await request.form()
    uploads = {side: each for side in ("L", "R") if isinstance(each := form.get(f"scan.{side}"), UploadFile)}
    scans = Scans([side for side, each in uploads.items() if each.filename], {}, {})
    if scans.sent and "copy" not in form:
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
def order_form(request: Request, ask: Signed, start: str = "") -> Response:
    """An empty form, or one that starts from the pair whose code is `start`."""
    with ask.reading() as (viewer, db):
        need(viewer, "place_order")
        values = _order_values(db, viewer)
        typed = earlier_order(db, start, viewer) if start else {"units": viewer.units}
        values |= _guide(db, typed)
    return page(request, "desks/order.html", viewer=viewer, typed=typed, errors={}, **values)


@router.post("/orders/new", max_body_size=2 * MOST_BYTES + MAX_BODY, dependencies=[Depends(_within_limits)])
def place_order(request: Request, ask: Signed, form: Form, scans: Annotated[Scans, Depends(_scans)]) -> Response:
    """Orders the pair, or copies one side to the other and shows the form again."""
    typed = as_lists(form)
    errors: dict[str, str] = {}
    found: Sequence[Finding] = ()
    copying = form.get("copy") in ("LR", "RL")
    if copying:
        typed = copied(typed, form["copy"][0], form["copy"][1])
    else:
        try:
            return _place(ask, typed, scans)
        except BadInput as refusal:
            errors = refusal.fields
            found = refusal.findings if isinstance(refusal, Unanswered) else ()
    errors = scans.once_more() | errors
    with ask.reading() as (viewer, db):
        need(viewer, "place_order")
        values = _order_values(db, viewer) | {"findings": found} | _guide(db, typed)
    status = 200 if copying else 422
    return page(request, "desks/order.html", viewer=viewer, status=status, typed=typed, errors=errors, **values)


def _place(ask: Signed, typed: Mapping[str, Any], scans: Scans) -> Response:
    with ask.writing() as (viewer, db):
        wanted = order_from_form(typed, viewer.staff_id, {side: scans.faults.get(side, "") for side in scans.sent})
        need(viewer, "place_order", wanted.clinic_id)
        if wanted.prescriber_id not in {staff_id for staff_id, _ in people.prescribers(db, {wanted.clinic_id})}:
            words = "Choose a prescriber of this clinic."
            raise BadInput(words, {"prescriber_id": words})
        answers = replace(answers_from_form(typed), feet=feet({side: file.mesh for side, file in scans.files.items()}))
        placed = bench.place(db, by=viewer, wanted=wanted, answers=answers)
        for side, file in scans.files.items():
            actions.add_scan(db, ask.request.app.state.storage, code=placed.code, side=side, file=file, by=viewer)
        if "here" in typed:
            asked = Asked("advance", "check_in", version=placed.version)
            bench.check_in(db, code=placed.code, asked=asked, by=viewer)
    said = _what_now(placed.code, set(wanted.captures.values()), "here" in typed, len(scans.files))
    return go(f"/pair/{placed.code}", f"Ordered. The pair's code is {placed.code}. {said}")


@router.post("/orders/checks")
def look_so_far(ask: Signed, form: Form) -> Response:
    """The checks of a form that is still being filled in, as a part of its page; nothing is written."""
    typed = as_lists(form)
    with ask.reading() as (viewer, db):
        need(viewer, "place_order")
        guide = _guide(db, typed)
    found = findings_so_far(typed, clock.today(viewer.zone), guide["allowance"])
    return HTMLResponse(part("desks/live.html", typed=typed, findings=found, alone=True, **guide))


def _what_now(code: str, kinds: set[str], checked_in: bool, scans: int) -> str:
    if checked_in:
        return "It is checked in."
    if kinds != {"scan"}:
        return f"Write {code} on the cast."
    return "Its scans are with it." if scans else "Its scan files can be added here."


def _guide(db: Session, typed: Mapping[str, Any]) -> dict[str, Any]:
    allowance = people.lab(db).last_allowance
    return {"sizes": size_guide(typed, allowance), "allowance": allowance}


def _order_values(db: Session, viewer: Viewer) -> dict[str, Any]:
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
    }
