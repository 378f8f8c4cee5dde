"""What came with a pair, for programs; it is shown with the pair in `GET /api/v1/pairs/{code}`."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path
from pydantic import Field

from app import web
from app.bench import actions as bench
from app.bench import queries
from app.bench.actions import belongings
from app.bench.rules.belongings import BELONGINGS, FATES
from app.desks import examples
from app.desks.api.trail import DOING, Code, In, Key
from app.people.permissions import need
from app.people.sessions import Called

router = APIRouter(prefix="/api/v1", tags=["trail"], responses=web.problems(401, 404, 422))


class BelongingIn(In):
    """Something that came with a pair."""

    kind: str = Field(description=f"One of {', '.join(BELONGINGS)}.")
    side: Literal["L", "R", "LR"] = Field(default="LR", description="Which side it belongs to.")


class FateIn(In):
    """What became of a belonging; it may be said again and otherwise."""

    becomes: str = Field(
        description="; ".join(f"{key}: {fate.words}" for key, fate in FATES.items()) + ". The first two leave it open."
    )
    shelf: str = Field(default="", max_length=20, description="Where the lab keeps it, if it does.")


@router.post(
    "/pairs/{code}/belongings",
    status_code=201,
    summary="Note something that came with a pair",
    responses=DOING,
    openapi_extra=examples.named(examples.BELONGINGS),
)
def note_belonging(code: Code, body: BelongingIn, ask: Called, idempotency_key: Key = None) -> dict[str, Any]:
    """It is where the pair is. Answers the number by which it is settled."""
    with ask.writing() as (viewer, db):
        need(viewer, "settle_belonging", queries.find(db, code, viewer).row["clinic_id"])

        def act() -> dict[str, Any]:
            return {"belonging": belongings.add(db, code=code, by=viewer, **body.model_dump())}

        sent = body.model_dump(mode="json") | {"belonging_of": code}
        _, answer = bench.once(db, staff_id=viewer.staff_id, key=idempotency_key, body=sent, act=act, status=201)
    return answer


@router.post(
    "/pairs/{code}/belongings/{belonging_id}",
    summary="Say what became of a belonging",
    responses=DOING,
    openapi_extra=examples.named(examples.FATES),
)
def settle_belonging(
    code: Code,
    belonging_id: Annotated[int, Path(description="Its number, from the pair.")],
    body: FateIn,
    ask: Called,
    idempotency_key: Key = None,
) -> dict[str, Any]:
    """Answers the belonging as it is now."""
    with ask.writing() as (viewer, db):
        loaded = queries.find(db, code, viewer)
        need(viewer, "settle_belonging", loaded.row["clinic_id"])

        def act() -> dict[str, Any]:
            belongings.settle(db, code=code, belonging_id=belonging_id, by=viewer, **body.model_dump())
            db.flush()
            (now,) = [each for each in queries.belongings(db, [loaded.row["id"]]) if each.id == belonging_id]
            return {name: getattr(now, name) for name in ("id", "kind", "side", "place", "becomes", "shelf")}

        sent = body.model_dump(mode="json") | {"belonging_of": code, "belonging": belonging_id}
        _, answer = bench.once(db, staff_id=viewer.staff_id, key=idempotency_key, body=sent, act=act)
    return answer
