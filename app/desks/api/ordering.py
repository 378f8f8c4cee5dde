"""What comes before an order, and after one, for programs: drafts, starting prescriptions, second pairs."""

from datetime import date, datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Response
from pydantic import BaseModel, Field
from sqlmodel import Session

from app import web
from app.bench import actions as bench
from app.bench import queries
from app.bench.rules.orders import Wanted
from app.bench.rules.stages import STAGES
from app.desks import examples
from app.desks.actions.second import second_pair
from app.desks.api.trail import DOING, Checked, Code, In, Key, prescriber
from app.errors import BadInput, NotFound
from app.orders import queries as orders
from app.orders.actions.drafts import keep_draft, throw_draft_away
from app.orders.actions.starts import keep_start, throw_start_away
from app.orders.queries.drafts import draft as kept_draft
from app.orders.queries.drafts import drafts
from app.orders.queries.starts import starts
from app.orders.rules import read_shoe
from app.orders.rules.drafts import is_key
from app.people import queries as people
from app.people.permissions import need
from app.people.rules import Viewer
from app.people.sessions import Called

router = APIRouter(prefix="/api/v1", tags=["ordering"], responses=web.problems(401, 403, 404, 422))
CONFLICT = web.problems(409)
DraftKey = Annotated[str, Path(description="The draft's own name, as it was kept.")]
SEVERAL = ("additions", "risks")
"""What the names of fields end with that hold a list."""


class DraftOut(BaseModel):
    draft: str = Field(description="Its name.")
    label: str = Field(description="The chart label, as far as it was typed.")
    sides: str
    kept_at: datetime = Field(description="30 days after this it is thrown away.")


class DraftsOut(BaseModel):
    items: list[DraftOut]


class DraftIn(In):
    """An order that is still being typed, by the fields of the order form. One that is there already is replaced."""

    draft: str = Field(description="A name of your own, 8 to 40 letters, digits, - and _; the same one keeps it again.")
    clinic_id: int | None = Field(default=None, description="The clinic that will order, once it is known.")
    fields: dict[str, str | list[str]] = Field(
        max_length=400,
        description="Name to text as in the order form: label, way, sides, capture.L, L.shell, L.shell_thickness in "
        "the clinic's units, rush; a list for risks and L.additions. What is empty is left out.",
    )


class KeptOut(BaseModel):
    draft: str
    kept: bool = Field(description="False if it was ordered or thrown away meanwhile: then it is not kept again.")


@router.get("/drafts", summary="One's own drafts")
def list_drafts(ask: Called) -> DraftsOut:
    """Orders that the caller began and has not ordered, the last first; nobody else sees them."""
    with ask.reading() as (viewer, db):
        need(viewer, "place_order")
        rows = drafts(db, viewer)
    return DraftsOut(
        items=[DraftOut(draft=row.key, label=row.label, sides=row.sides, kept_at=row.kept_at) for row in rows]
    )


@router.get("/drafts/{draft}", summary="A draft as it was left")
def show_draft(draft: DraftKey, ask: Called) -> dict[str, Any]:
    """Its fields by name, with the clinic among them."""
    with ask.reading() as (viewer, db):
        need(viewer, "place_order")
        return {"draft": draft, "fields": kept_draft(db, viewer, _known(draft))}


@router.post(
    "/drafts",
    summary="Keep a draft",
    responses=CONFLICT,
    openapi_extra=examples.named(examples.DRAFTS),
)
def keep(body: DraftIn, ask: Called, idempotency_key: Key = None) -> KeptOut:
    """It can be gone on with in the order form, on every device. Kept as it was, it writes nothing."""
    if wrong := {f"fields.{name}": _shape(name) for name, value in body.fields.items() if not _fits(name, value)}:
        raise BadInput(" ".join(wrong.values()), wrong)
    clinic = {"clinic_id": str(body.clinic_id)} if body.clinic_id is not None else {}
    with ask.writing() as (viewer, db):
        need(viewer, "place_order", body.clinic_id)

        def act() -> dict[str, Any]:
            typed = {**body.fields, **clinic}
            kept = keep_draft(db, by=viewer, key=body.draft, clinic_id=body.clinic_id, typed=typed)
            return {"draft": body.draft, "kept": kept}

        sent = {"keep_draft": body.model_dump(mode="json")}
        _, answer = bench.once(db, staff_id=viewer.staff_id, key=idempotency_key, body=sent, act=act)
    return KeptOut(**answer)


def _fits(name: str, value: str | list[str]) -> bool:
    return isinstance(value, list) is name.endswith(SEVERAL)


def _shape(name: str) -> str:
    return f"'{name[:40]}' is {'a list of texts' if name.endswith(SEVERAL) else 'one text, no list'}."


@router.delete("/drafts/{draft}", summary="Throw a draft away", responses=CONFLICT)
def throw_away(draft: DraftKey, ask: Called, idempotency_key: Key = None) -> dict[str, Any]:
    """Its words are gone at once; one that was gone already answers the same."""
    with ask.writing() as (viewer, db):
        need(viewer, "place_order")

        def act() -> dict[str, Any]:
            throw_draft_away(db, by=viewer, key=_known(draft))
            return {"draft": draft, "kept": False}

        sent = {"throw_away_draft": draft}
        _, answer = bench.once(db, staff_id=viewer.staff_id, key=idempotency_key, body=sent, act=act)
    return answer


def _known(draft: str) -> str:
    if not is_key(draft):
        raise NotFound("There is no such draft.")
    return draft


StartNumber = Annotated[int, Path(ge=1, le=people.LARGEST_ID, description="Its number, from the list.")]


class StartIn(In):
    """A prescription to begin orders with; it says nothing of any wearer."""

    name: str = Field(description="At most 60 characters, and nothing of a wearer in it.")
    clinic_id: int | None = Field(default=None, description="For everyone of this clinic; left out, for the caller.")
    way: Literal["cast", "carved", "direct"] = Field(description="How the capture becomes a device.")
    prescription: dict[Literal["L", "R"], dict[str, Any]] = Field(min_length=1, description=examples.PRESCRIPTION)


class StartOut(BaseModel):
    start: int = Field(description="Its number, by which it is thrown away.")
    name: str
    clinic_id: int | None = Field(description="Whose it is; null for the caller's own.")
    way: str
    prescription: dict[str, dict[str, Any]]


class StartsOut(BaseModel):
    items: list[StartOut]


@router.get("/starts", summary="Starting prescriptions")
def list_starts(ask: Called) -> StartsOut:
    """The caller's own and those of the clinics that the caller orders for, by name."""
    with ask.reading() as (viewer, db):
        need(viewer, "place_order")
        rows = [
            StartOut(start=row.id, name=row.name, clinic_id=row.clinic_id, way=row.way, prescription=row.body)
            for row in starts(db, viewer)
        ]
    return StartsOut(items=rows)


@router.post(
    "/starts",
    status_code=201,
    summary="Keep a starting prescription",
    responses=CONFLICT,
    openapi_extra=examples.named(examples.STARTS),
)
def keep_as_start(body: StartIn, ask: Called, idempotency_key: Key = None) -> dict[str, Any]:
    """Answers its number."""
    with ask.writing() as (viewer, db):
        need(viewer, "place_order", body.clinic_id)

        def act() -> dict[str, Any]:
            made: dict[str, dict[str, Any]] = {str(side): items for side, items in body.prescription.items()}
            return {
                "start": keep_start(db, by=viewer, name=body.name, clinic_id=body.clinic_id, way=body.way, body=made)
            }

        sent = {"keep_start": body.model_dump(mode="json")}
        _, answer = bench.once(db, staff_id=viewer.staff_id, key=idempotency_key, body=sent, act=act, status=201)
    return answer


@router.delete("/starts/{start}", summary="Throw a starting prescription away", responses=CONFLICT)
def drop_start(start: StartNumber, ask: Called, idempotency_key: Key = None) -> dict[str, Any]:
    """Orders that began with it keep what they have."""
    with ask.writing() as (viewer, db):
        need(viewer, "place_order")

        def act() -> dict[str, Any]:
            throw_start_away(db, by=viewer, start_id=start)
            return {"start": start, "kept": False}

        sent = {"throw_away_start": start}
        _, answer = bench.once(db, staff_id=viewer.staff_id, key=idempotency_key, body=sent, act=act)
    return answer


class SecondIn(Checked):
    """A second pair for the same wearer, from the captures of the first. What is left out is as in the first."""

    sides: Literal["L", "R", "LR"] | None = Field(default=None, description="Which devices are made.")
    way: Literal["cast", "carved", "direct"] | None = Field(
        default=None, description="Another route from a scan; a cast goes the first one's."
    )
    prescription: dict[Literal["L", "R"], dict[str, Any]] | None = Field(
        default=None, description=f"In whole. {examples.PRESCRIPTION}"
    )
    stage_notes: dict[str, str] = Field(default_factory=dict, description="Stage to the words shown there.")
    wanted_on: date | None = Field(default=None, description="The day by which the clinic wants it.")
    rush: str | None = Field(default=None, max_length=400, description="Why it is a rush; leave out if it is none.")
    shoe: dict[str, Any] | None = Field(default=None, description=f"If it is for another shoe: {examples.SHOE}")
    ulcer: str | None = Field(
        default=None, max_length=2000, description="With the risk active_ulcer: who treats it; the order needs it."
    )
    prescriber_id: int | None = Field(default=None, description="Who prescribes, if not the caller.")


class SecondOut(BaseModel):
    code: str
    version: int
    stage: str = Field(
        description=f"Where it starts: press while the positives are kept, else earlier. One of {', '.join(STAGES)}."
    )


@router.post(
    "/pairs/{code}/second",
    status_code=201,
    summary="Order a second pair from the same captures",
    responses=DOING,
    openapi_extra=examples.named(examples.SECONDS),
)
def order_second(code: Code, body: SecondIn, ask: Called, response: Response, idempotency_key: Key = None) -> SecondOut:
    """Nothing is cast or scanned again. Answers the new pair's code and where it starts."""
    with ask.writing() as (viewer, db):
        loaded = queries.find(db, code, viewer)
        need(viewer, "place_order", loaded.row["clinic_id"])
        wanted = _second(db, viewer, loaded.row["order_id"], loaded.state.code, body)

        def act() -> dict[str, Any]:
            placed = second_pair(db, by=viewer, wanted=wanted, same=loaded.state.code, answers=body.answers())
            return {"code": placed.code, "version": placed.version, "stage": placed.starts_at}

        sent = body.model_dump(mode="json") | {"second_of": loaded.state.code}
        status, answer = bench.once(db, staff_id=viewer.staff_id, key=idempotency_key, body=sent, act=act, status=201)
    response.status_code = status
    response.headers["Location"] = f"/api/v1/pairs/{answer['code']}"
    return SecondOut(**answer)


def _second(db: Session, viewer: Viewer, order_id: int, code: str, body: SecondIn) -> Wanted:
    first, patient = orders.order_and_patient(db, order_id)
    sides = body.sides or first.sides
    held = body.prescription or orders.holding(db, order_id).body
    return Wanted(
        clinic_id=first.clinic_id,
        label=patient.label,
        way=body.way or first.way,
        sides=sides,
        prescription={str(side): items for side, items in held.items() if body.prescription or side in sides},
        captures={},
        prescriber_id=prescriber(db, viewer, first.clinic_id, body.prescriber_id),
        stage_notes=body.stage_notes,
        shoe=first.shoe if body.shoe is None else read_shoe(body.shoe),
        feet={side: foot for side, foot in first.feet.items() if side in sides},
        wanted_on=body.wanted_on,
        rush=body.rush,
        ulcer=body.ulcer,
        repeats=code,
    )
