"""Photos of what lab and clinic ask and tell each other, for programs: sent with the act, and read again."""

from typing import Annotated, Any

from fastapi import APIRouter, Path, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response
from pydantic import ValidationError
from starlette.datastructures import FormData

from app import web
from app.bench import actions as bench
from app.bench import queries
from app.bench.rules.photos import MOST, SHOWN_WITH
from app.capture.reading import photos as reading
from app.capture.reading.photos import NotAPhoto, Photo
from app.desks import actions, examples
from app.desks.api.trail import DOING, ActIn, Code, Key, asked_in, standing
from app.desks.queries.photos import file_name, photo_of
from app.errors import BadInput
from app.people.sessions import Ask, Called

router = APIRouter(prefix="/api/v1", tags=["trail"], responses=web.problems(401, 404, 422))


@router.post(
    "/pairs/{code}/acts/photos",
    summary="Do one act on a pair, with photos of it",
    responses=DOING,
    max_body_size=MOST * reading.MOST_BYTES + web.MAX_BODY,
    openapi_extra=examples.files(
        {
            "act": ("json", f"As `POST /api/v1/pairs/{{code}}/acts` takes it; one of {', '.join(SHOWN_WITH)}."),
            "photos": ("files", f"1 to {MOST} photos: JPEG, PNG or WebP, at most 15 MB each."),
        },
        examples.WITH_PHOTOS,
    ),
)
async def act_with_photos(request: Request, code: Code, ask: Called, idempotency_key: Key = None) -> dict[str, Any]:
    """Answers as the act without photos does. Each photo is written anew, upright and without what the camera noted in
    it; one that is refused leaves the act undone. `GET /api/v1/pairs/{code}` names the photos of each move."""
    await run_in_threadpool(_sees, ask, code)
    async with request.form(max_files=reading.MOST_FILES, max_fields=10) as form:
        body = _act_of(form)
        try:
            photos = await reading.read_several(
                [each for each in form.getlist("photos") if not isinstance(each, str)], MOST
            )
        except NotAPhoto as fault:
            raise BadInput(str(fault), {"photos": str(fault)}) from None
    if not photos:
        raise BadInput("Send the photos as files 'photos' of a form.", {"photos": "There is no file."})
    return await run_in_threadpool(_do, ask, code, body, photos, idempotency_key)


def _sees(ask: Ask, code: str) -> None:
    with ask.reading() as (viewer, db):
        queries.find(db, code, viewer)


def _act_of(form: FormData) -> ActIn:
    said = form.get("act")
    try:
        return ActIn.model_validate_json(said if isinstance(said, str) else "")
    except ValidationError as fault:
        raise RequestValidationError(
            [error | {"loc": ("body", "act", *error["loc"])} for error in fault.errors()]
        ) from None


def _do(ask: Ask, code: str, body: ActIn, photos: list[Photo], key: str | None) -> dict[str, Any]:
    storage = ask.request.app.state.storage
    with ask.writing() as (viewer, db):

        def act() -> dict[str, Any]:
            moved = actions.do_with_photos(
                db, storage, code=code, asked=asked_in(body), photos=photos, by=viewer, done_at=body.done_at
            )
            return standing(moved)

        sent = body.model_dump(mode="json") | {"code": code, "photos": [photo.sha256 for photo in photos]}
        _, answer = bench.once(db, staff_id=viewer.staff_id, key=key, body=sent, act=act)
    return answer


@router.get(
    "/pairs/{code}/photos/{photo_id}",
    summary="One photo of a pair",
    response_class=Response,
    responses={200: {"content": {"image/jpeg": {"schema": {"type": "string", "format": "binary"}}}}},
)
def show_photo(
    code: Code, photo_id: Annotated[int, Path(description="Its number, as the pair's move names it.")], ask: Called
) -> Response:
    """A JPEG of at most 2,400 pixels a side."""
    with ask.reading() as (viewer, db):
        loaded, photo = photo_of(db, viewer, code, photo_id)
        ask.note_reading(loaded.row["patient_id"])
    content = ask.request.app.state.storage.read(photo.file_key)
    return web.to_be_saved(content, "image/jpeg", file_name(loaded, photo))
