"""Photos that go along with what lab and clinic ask and tell each other: taken in with the act's form, shown, saved."""

from collections.abc import AsyncIterator, Callable, Mapping
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import Response
from sqlmodel import Session

from app import clock
from app.bench import queries
from app.bench.queries import Loaded, PhotoRow
from app.bench.rules.photos import MOST, SHOWN_WITH, name_of
from app.capture.reading import photos as reading
from app.capture.reading.photos import NotAPhoto, Photo
from app.desks.pages.common import has_files, refuse_large
from app.desks.queries import sentence
from app.desks.queries.photos import file_name, photo_of
from app.errors import BadInput
from app.orders.rules.drafts import new_key
from app.people import queries as people
from app.people.rules import Viewer
from app.people.sessions import Ask, Signed
from app.templating import page
from app.web import MAX_BODY, to_be_saved

router = APIRouter(include_in_schema=False)
FIELD = "photos"
MOST_BYTES = MOST * reading.MOST_BYTES + MAX_BODY


class Sent(NamedTuple):
    """The photos that came with a form, or what is wrong with them."""

    photos: list[Photo]
    fault: str = ""

    def refuse_faults(self) -> None:
        if self.fault:
            raise BadInput(self.fault, {FIELD: self.fault})

    def once_more(self) -> Mapping[str, str]:
        """At the field of a form that comes back: a browser does not send a file a second time by itself."""
        said = self.fault or (reading.ONCE_MORE if self.photos else "")
        return {FIELD: said} if said else {}


async def within_limits(request: Request, code: str, ask: Signed) -> AsyncIterator[None]:
    """Only a form with files may be large, and it is taken in once it is known that this person sees the pair."""
    if has_files(request):
        await run_in_threadpool(_sees, ask, code)
    else:
        refuse_large(request)
    async with request.form(max_files=reading.MOST_FILES, max_fields=400):
        yield


def _sees(ask: Ask, code: str) -> None:
    with ask.reading() as (viewer, db):
        queries.find(db, code, viewer)


async def sent_photos(request: Request) -> Sent:
    try:
        return Sent(await reading.read_several((await request.form()).getlist(FIELD), MOST))
    except NotAPhoto as fault:
        return Sent([], str(fault))


class Thumb(NamedTuple):
    """A small photo that leads to the whole one."""

    href: str
    words: str
    width_px: int
    height_px: int


def photo_values(db: Session, viewer: Viewer, loaded: Loaded) -> dict[str, Any]:
    """Of a pair's page: its photos by move, and what a form needs to send some."""
    rows = queries.photos_of(db, loaded.row["id"])
    code = loaded.state.code
    return {
        "photos": {move: [_thumb(code, row, viewer.zone) for row in found] for move, found in rows.items()},
        "photo_acts": SHOWN_WITH,
        "most_photos": MOST,
        "form_key": new_key(),
    }


def _thumb(code: str, row: PhotoRow, zone: str) -> Thumb:
    return Thumb(f"/pair/{code}/photo/{row.id}", _name(row, zone), row.width_px, row.height_px)


def _name(row: PhotoRow, zone: str) -> str:
    return name_of(row.act, row.reason, row.number, row.at.astimezone(ZoneInfo(zone)).date(), clock.today(zone))


@router.get("/pair/{code}/photo/{photo_id}")
def photo_page(request: Request, code: str, photo_id: int, ask: Signed) -> Response:
    """The whole photo, with what was said with it and the others of the same act."""
    with ask.reading() as (viewer, db):
        loaded, photo = photo_of(db, viewer, code, photo_id)
        ask.note_reading(loaded.row["patient_id"])
        move = next(each for each in queries.history(db, loaded.row["id"]) if each.id == photo.move_id)
        of_move = queries.photos_of(db, loaded.row["id"])[photo.move_id]
        values: dict[str, Any] = {
            "demo": people.lab(db).demo,
            "state": loaded.state,
            "pair": loaded.row,
            "photo": photo,
            "name": _name(photo, viewer.zone),
            "others": [_thumb(loaded.state.code, each, viewer.zone) for each in of_move if each.id != photo.id],
            "told": sentence(move),
            "move": move,
        }
    return page(request, "desks/photo.html", viewer=viewer, **values)


@router.get("/pair/{code}/photo/{photo_id}/whole")
def whole_photo(code: str, photo_id: int, ask: Signed) -> Response:
    """For the page's own frame; opened on its own it is saved, not shown."""
    return _file(ask, code, photo_id, lambda photo: photo.file_key)


@router.get("/pair/{code}/photo/{photo_id}/small")
def small_photo(code: str, photo_id: int, ask: Signed) -> Response:
    """The same for the thread."""
    return _file(ask, code, photo_id, lambda photo: photo.small_key)


def _file(ask: Ask, code: str, photo_id: int, key_of: Callable[[PhotoRow], str]) -> Response:
    with ask.reading() as (viewer, db):
        loaded, photo = photo_of(db, viewer, code, photo_id)
        ask.note_reading(loaded.row["patient_id"])
    content = ask.request.app.state.storage.read(key_of(photo))
    return to_be_saved(content, "image/jpeg", file_name(loaded, photo))
