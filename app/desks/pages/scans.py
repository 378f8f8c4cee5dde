"""Scan files by people: added to a side of a pair, and taken out of the store again."""

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import Response
from starlette.datastructures import UploadFile

from app.bench import queries
from app.bench.rules.machine import SIDE_WORDS
from app.capture import queries as captures
from app.capture.reading.scans import MOST_BYTES, ScanFile, read_upload
from app.desks import actions
from app.desks.pages.pair import shown_again
from app.errors import BadInput, NotFound, Refusal
from app.people.permissions import need
from app.people.sessions import Ask, Signed
from app.storage import Storage
from app.templating import go
from app.trade.footmesh import NotAFootMesh
from app.web import MAX_BODY, Typed, to_be_saved

router = APIRouter(include_in_schema=False)


@router.post("/pair/{code}/scan/{side}", max_body_size=MOST_BYTES + MAX_BODY)
async def add_scan(request: Request, code: str, side: str, ask: Signed) -> Response:
    """The file is taken in only once it is known that this person may add it."""
    await run_in_threadpool(_may_add, ask, code, side)
    field = f"scan.{side}"
    try:
        async with request.form(max_files=1, max_fields=10) as form:
            upload = form.get("scan")
            if not isinstance(upload, UploadFile) or not upload.filename:
                raise NotAFootMesh("Choose the scan file first.")
            file = await read_upload(upload)
        return await run_in_threadpool(_add, request.app.state.storage, ask, code, side, file)
    except NotAFootMesh as fault:
        refusal: Refusal = BadInput(str(fault), {field: str(fault)})
    except Refusal as other:
        if other.status in (401, 403, 404):
            raise
        refusal = other
    return await run_in_threadpool(shown_again, request, ask, code, refusal, Typed(), field)


def _may_add(ask: Ask, code: str, side: str) -> None:
    with ask.reading() as (viewer, db):
        actions.scan_side(db, code=code, side=side, by=viewer)


def _add(storage: Storage, ask: Ask, code: str, side: str, file: ScanFile) -> Response:
    with ask.writing() as (viewer, db):
        pair = actions.add_scan(db, storage, code=code, side=side, file=file, by=viewer)
    code = pair.state.code
    said = f"{code}: the {SIDE_WORDS[side]} scan is here, {file.mesh.length_mm:.1f} mm long."
    return go(f"/pair/{code}#scans", said)


@router.get("/pair/{code}/scan/{side}")
def scan_file(request: Request, code: str, side: str, ask: Signed) -> Response:
    """The file as it came, to be saved; a browser never shows it."""
    with ask.reading() as (viewer, db):
        loaded = queries.find(db, code, viewer)
        need(viewer, "see_pair", loaded.row["clinic_id"])
        scan = captures.scans_of_order(db, loaded.row["order_id"]).get(side)
        if scan is None:
            raise NotFound(f"There is no scan file of this side with {loaded.state.code}.")
        ask.note_reading(loaded.row["patient_id"])
    name = f"{loaded.state.code}-{SIDE_WORDS[side]}.{scan.mesh.kind}"
    return to_be_saved(request.app.state.storage.read(scan.file_key), "application/octet-stream", name)
