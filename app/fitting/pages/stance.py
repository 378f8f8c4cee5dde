"""How a wearer stands, on a page of its own: photos marked point by point, the Foot Posture Index, the arch."""

from datetime import datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, Response
from sqlmodel import Session
from starlette.datastructures import UploadFile

from app import clock
from app.bench import queries as pairs
from app.bench.queries import Loaded
from app.bench.rules.machine import SIDE_WORDS
from app.capture.reading.photos import MOST_BYTES, NotAPhoto, Photo, read_upload
from app.errors import BadInput, Refusal
from app.fitting import actions
from app.fitting.charts import over_time, scores_over_time
from app.fitting.queries import outcomes
from app.fitting.queries import stance as queries
from app.fitting.queries import stance_view as view
from app.fitting.rules import stance
from app.fitting.rules.outcome import side_by_side
from app.people import queries as people
from app.people.permissions import need
from app.people.rules import Viewer
from app.people.sessions import Ask, Signed
from app.storage import Storage
from app.templating import go, page, part
from app.trade.units import LENGTH
from app.web import MAX_BODY, Form, Typed, to_be_saved

router = APIRouter(include_in_schema=False)


@router.get("/pair/{code}/stance")
def stance_page(request: Request, code: str, ask: Signed, correct: int | None = None) -> Response:
    return _shown(request, ask, code, correct)


@router.post("/pair/{code}/stance")
def measure(request: Request, code: str, ask: Signed, form: Form) -> Response:
    """One form of the page: what was measured of each foot, or one foot's measure said anew."""
    kind, replaces = form.get("kind", ""), _number(form, "replaces")
    try:
        with ask.writing() as (viewer, db):
            made = actions.measure(
                db,
                code=code,
                kind=kind,
                said=form,
                by=viewer,
                with_devices=form.get("devices") == "with",
                photo_id=_number(form, "photo"),
                replaces_id=replaces,
                units="imperial" if form.get("units") == "imperial" else "metric",
            )
            code = pairs.find(db, code, viewer).state.code
    except Refusal as refusal:
        if refusal.status in (401, 403, 404):
            raise
        return _shown(request, ask, code, replaces, refusal, form, form.get("form", ""))
    said = f"{stance.KINDS[kind].label}: {'kept' if made else 'nothing new to keep'}."
    return go(f"/pair/{code}/stance#measured", said)


@router.post("/pair/{code}/stance/posture")
def posture_so_far(code: str, ask: Signed, form: Form) -> Response:
    """What a Foot Posture Index that is still being filled in comes to, by foot; nothing is kept."""
    with ask.reading() as (viewer, db):
        loaded = actions.may_measure(db, code=code, by=viewer)
    posture = {side: stance.posture_so_far(side, form) for side in loaded.state.all_sides}
    return HTMLResponse(part("fitting/posture.html", posture=posture))


@router.post("/pair/{code}/stance/photo", max_body_size=MOST_BYTES + MAX_BODY)
async def add_photo(request: Request, code: str, ask: Signed) -> Response:
    """The file is taken in only once it is known that this person may add it."""
    await run_in_threadpool(_may_add, ask, code)
    devices = ""
    try:
        async with request.form(max_files=2, max_fields=5) as form:
            devices = "with" if form.get("devices") == "with" else "without"
            files = [each for each in form.getlist("photo") if isinstance(each, UploadFile) and each.filename]
            if not files:
                raise NotAPhoto("Take or choose the photo first.")
            photo = await read_upload(files[0])
        return await run_in_threadpool(_add, request.app.state.storage, ask, code, devices, photo)
    except NotAPhoto as fault:
        refusal: Refusal = BadInput(str(fault), {"photo": str(fault)})
    except Refusal as other:
        if other.status in (401, 403, 404):
            raise
        refusal = other
    return await run_in_threadpool(_shown, request, ask, code, None, refusal, Typed(), f"photo-{devices}")


def _may_add(ask: Ask, code: str) -> None:
    with ask.reading() as (viewer, db):
        actions.may_measure(db, code=code, by=viewer)


def _add(storage: Storage, ask: Ask, code: str, devices: str, photo: Photo) -> Response:
    with ask.writing() as (viewer, db):
        actions.add_photo(db, storage, code=code, with_devices=devices == "with", photo=photo, by=viewer)
        code = pairs.find(db, code, viewer).state.code
    return go(f"/pair/{code}/stance#{devices}", "The photo is here; now mark its points.")


@router.get("/pair/{code}/stance/photo/{photo_id}")
def photo_file(request: Request, code: str, photo_id: int, ask: Signed) -> Response:
    """For the page's own frame; opened on its own it is saved, not shown."""
    with ask.reading() as (viewer, db):
        loaded = pairs.find(db, code, viewer)
        need(viewer, "measure_stance", loaded.row["clinic_id"])
        row = queries.photo(db, loaded.row["id"], photo_id)
        ask.note_reading(loaded.row["patient_id"])
    content = request.app.state.storage.read(row.file_key)
    return to_be_saved(content, "image/jpeg", f"{loaded.state.code}-stance-{row.id}.jpg")


def _number(typed: Typed, name: str) -> int | None:
    text = typed.get(name, "")
    return min(int(text), people.LARGEST_ID) if text.isascii() and text.isdecimal() else None


def _shown(
    request: Request,
    ask: Ask,
    code: str,
    correct: int | None,
    refusal: Refusal | None = None,
    typed: Typed | None = None,
    failed: str = "",
) -> Response:
    """The page; with `correct` the form of that one measure alone. `failed` is the form that was refused."""
    with ask.reading() as (viewer, db):
        loaded = pairs.find(db, code, viewer)
        need(viewer, "measure_stance", loaded.row["clinic_id"])
        values = _values(db, viewer, loaded, correct)
        ask.note_reading(loaded.row["patient_id"])
    filled = typed if typed and failed == "posture" else values["forms"].get("posture", {}).get("values", {})
    values["posture"] = {side: stance.posture_so_far(side, filled) for side in loaded.state.all_sides}
    errors = refusal.fields if isinstance(refusal, BadInput) else {}
    status = refusal.status if refusal else 200
    values |= {"refused": refusal.sentence if refusal else "", "errors": errors, "typed": typed or Typed()}
    return page(request, "fitting/stance.html", viewer=viewer, status=status, failed=failed, **values)


def _values(db: Session, viewer: Viewer, loaded: Loaded, correct: int | None) -> dict[str, Any]:
    told = outcomes.told(db, loaded.row["id"], viewer.zone)
    rows, photos = queries.measures(db, loaded.row["id"]), queries.photos(db, loaded.row["id"])
    holding = [row for row in rows if not row.replaced]
    wrongly = queries.measure_of(db, loaded.row["id"], min(correct, people.LARGEST_ID)) if correct else None
    staff = people.staff_names(db, {photo.uploaded_by for photo in photos})
    sides = [(side, SIDE_WORDS[side]) for side in loaded.state.all_sides]
    morning = datetime.combine(clock.today(viewer.zone), time(), ZoneInfo(viewer.zone))
    forms = [view.form_of(wrongly, photos, viewer.units)] if wrongly else view.forms(morning, holding, photos, sides)
    return {
        "demo": people.lab(db).demo,
        "state": loaded.state,
        "pair": loaded.row,
        "why_not": _why_not(loaded),
        "kinds": stance.KINDS,
        "scores": stance.SCORES,
        "ways": stance.WAYS,
        "cautions": stance.CAUTIONS,
        "points_hint": stance.POINTS_HINT,
        "length_unit": LENGTH[viewer.units],
        "units": viewer.units,
        "correcting": wrongly,
        "forms": {form["key"]: form for form in forms},
        "staff": staff,
        "compared": [(words, view.compared(side, holding)) for side, words in sides],
        "totals": view.totals(holding, viewer.units),
        "charts": over_time(holding, viewer.zone, viewer.units),
        "outcomes": side_by_side(told),
        "told_charts": scores_over_time(told),
        "listed": [view.listed(row, viewer.units) for row in reversed(rows)],
    }


def _why_not(loaded: Loaded) -> str:
    try:
        stance.check_measured_now(loaded.state.code, loaded.state.stage, loaded.state.end)
    except Refusal as refusal:
        return refusal.sentence
    return ""
