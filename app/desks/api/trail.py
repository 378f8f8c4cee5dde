"""The trail for programs: orders in, pairs, queues, and every act. Mounted at /api/v1, with a bearer token."""

import json
from datetime import date, datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Header, Path, Query, Request, Response
from fastapi.concurrency import run_in_threadpool
from pydantic import BaseModel, ConfigDict, Field, model_validator
from sqlmodel import Session
from starlette.datastructures import UploadFile

from app import web
from app.bench import actions as bench
from app.bench import queries
from app.bench.actions import parcels
from app.bench.queries import QueueRow
from app.bench.rules.acts import ACTS, WAITING_ON
from app.bench.rules.machine import Asked
from app.bench.rules.orders import Wanted
from app.bench.rules.stages import STAGES
from app.capture.reading.scans import MOST_BYTES, ScanFile, read_upload
from app.capture.rules import kept_measures
from app.desks import actions, examples
from app.desks.queries import own, pair_answer
from app.desks.rules import ELSEWHERE
from app.errors import BadInput, NotFound
from app.orders.rules import read_shoe, read_wearer
from app.orders.rules.checks import Answers
from app.people import queries as people
from app.people.permissions import need
from app.people.rules import Viewer
from app.people.sessions import Ask, Called
from app.storage import Storage
from app.trade.footmesh import NotAFootMesh

router = APIRouter(prefix="/api/v1", tags=["trail"], responses=web.problems(401, 404, 422))
DOING = web.problems(403, 409)
Code = Annotated[str, Path(description="The pair's code, such as 26-00417-D; hyphens and case do not matter.")]
Key = Annotated[
    str | None,
    Header(
        description="1 to 200 characters of your own: sent again within 30 days, it answers the same and acts once."
    ),
]


class In(BaseModel):
    """What a program sends: unknown fields are refused, and so is a NUL, which no database of ours can store."""

    model_config = ConfigDict(extra="forbid")

    @model_validator(mode="before")
    @classmethod
    def without_nul(cls, sent: Any) -> Any:
        if "\\u0000" in json.dumps(sent, default=str):
            raise ValueError("There is a NUL character in it.")
        return sent


class Checked(In):
    """What is checked before it is written down: a 422 lists the `findings`, each with its key."""

    acknowledged: list[str] = Field(
        default_factory=list, max_length=100, description="Keys of the cautions that the prescriber has seen."
    )
    signed: dict[str, str] = Field(
        default_factory=dict, description="Key of a stop to the reason for which it is ordered all the same."
    )

    def answers(self) -> Answers:
        return Answers(frozenset(self.acknowledged), self.signed)


class OrderIn(Checked):
    """An order for one wearer. Lengths are tenths of a millimetre, angles degrees."""

    clinic_id: int = Field(description="The clinic that orders, by its number in the lab; one of the caller's own.")
    label: str = Field(max_length=60, description="The wearer's chart label or number, unique within the clinic.")
    way: str = Field(description="cast, carved or direct: how the capture becomes a device.")
    sides: Literal["L", "R", "LR"] = Field(default="LR", description="Which devices are made.")
    captures: dict[Literal["L", "R"], str] = Field(
        description="How each foot reaches the lab: slipper_plaster, slipper_fibreglass, foam or scan."
    )
    prescription: dict[Literal["L", "R"], dict[str, Any]] = Field(description=examples.PRESCRIPTION)
    stage_notes: dict[str, str] = Field(default_factory=dict, description="Stage to the words shown there.")
    wanted_on: date | None = Field(default=None, description="The day by which the clinic wants it.")
    rush: str | None = Field(default=None, max_length=400, description="Why it is a rush; leave out if it is none.")
    wearer: dict[str, Any] = Field(
        default_factory=dict,
        description="name, born_on, born_year, mass_kg, posture_left, posture_right, risks; seen by the own clinics.",
    )
    shoe: dict[str, Any] = Field(default_factory=dict, description=examples.SHOE)
    feet: dict[Literal["L", "R"], dict[str, int]] = Field(
        default_factory=dict, description="length and breadth as measured, in tenths of a millimetre."
    )
    captured_on: date | None = Field(
        default=None, description="When the feet were cast or scanned, if that was not about now."
    )
    ulcer: str | None = Field(
        default=None, max_length=2000, description="With the risk active_ulcer: who treats it; the order needs it."
    )
    prescriber_id: int | None = Field(default=None, description="Who prescribes, if not the caller.")


class OrderOut(BaseModel):
    code: str
    version: int


class ActIn(In):
    """One act on a pair. `from_stage` is where you believe it to be; if it is not, 409 says where it is."""

    act: str = Field(description=f"One of {', '.join(key for key in ACTS if key not in ELSEWHERE)}.")
    from_stage: str | None = Field(default=None, description="Where the pair stands, as you know it; null at its end.")
    to_stage: str | None = Field(default=None, description="Where it goes, if that is not simply the next stage.")
    sides: str | None = Field(default=None, description="L, R or LR; left out, it is every side with work here.")
    reason: str | None = Field(default=None, max_length=4000, description="Words, or one of the act's reasons.")
    waiting_on: str | None = Field(default=None, description=f"While it stands still: {', '.join(WAITING_ON)}.")
    version: int | None = Field(default=None, description="If given, it must match: a stage can be reached twice.")
    ticket: int | None = Field(
        default=None, description="The prescription's number on the scanned job ticket; an old one moves nothing."
    )
    done_at: datetime | None = Field(default=None, description="When the work was done, if that was before now.")
    facts: dict[str, Any] = Field(
        default_factory=dict,
        description="What belongs to this act; see its examples. Lots that went in are noted if `lots` names them, "
        "as `GET /api/v1/lots` tells them, and none without it, whatever is in use.",
    )


@router.post(
    "/orders", status_code=201, summary="Order a pair", responses=DOING, openapi_extra=examples.named(examples.ORDERS)
)
def place_order(body: OrderIn, ask: Called, response: Response, idempotency_key: Key = None) -> OrderOut:
    """Writes the order with its prescription and expected captures and puts the pair at To check in."""
    with ask.writing() as (viewer, db):
        need(viewer, "place_order", body.clinic_id)
        asked = body.model_dump(exclude={"prescriber_id", "wearer", "shoe", "acknowledged", "signed"})
        asked |= {"wearer": read_wearer(body.wearer), "shoe": read_shoe(body.shoe)}
        wanted = Wanted(**asked, prescriber_id=prescriber(db, viewer, body.clinic_id, body.prescriber_id))

        def act() -> dict[str, Any]:
            placed = bench.place(db, by=viewer, wanted=wanted, answers=body.answers())
            return {"code": placed.code, "version": placed.version}

        body_sent = body.model_dump(mode="json")
        status, answer = bench.once(
            db, staff_id=viewer.staff_id, key=idempotency_key, body=body_sent, act=act, status=201
        )
    response.status_code = status
    response.headers["Location"] = f"/api/v1/pairs/{answer['code']}"
    return OrderOut(**answer)


def prescriber(db: Session, viewer: Viewer, clinic_id: int, asked: int | None) -> int:
    """Who prescribes: the caller, unless somebody else of the clinic is named."""
    staff_id = asked or viewer.staff_id
    if staff_id not in {each for each, _ in people.prescribers(db, {clinic_id})}:
        words = "The prescriber has to be a clinician of this clinic."
        raise BadInput(words, {"prescriber_id": words})
    return staff_id


@router.get("/pairs", summary="Open pairs, by stage or all")
def list_pairs(
    ask: Called,
    stage: str | None = None,
    after: Annotated[str | None, Query(description="The `next` of the page before.")] = None,
    limit: Annotated[int, Query(ge=1, le=200)] = 50,
) -> dict[str, Any]:
    """A stage's pairs come in the order to work; without a stage, in the order of their making."""
    with ask.reading() as (viewer, db):
        clinics = own(viewer)
        if stage is None:
            rows, following = queries.open_pairs(db, clinics=clinics, after=after, limit=limit)
        elif stage in STAGES:
            rows, following = queries.queue(db, stage, clinics=clinics, after=after, limit=limit)
        else:
            raise NotFound(f"There is no stage '{stage}'. One of {', '.join(STAGES)}.")
    return {"items": [_item(row) for row in rows], "next": following}


@router.get("/pairs/{code}", summary="One pair with all its moves")
def show_pair(code: Code, ask: Called) -> dict[str, Any]:
    """Where each side stands, its route, what stops it, and every move from the order on, oldest first."""
    with ask.reading() as (viewer, db):
        return pair_answer(db, queries.find(db, code, viewer))


@router.post(
    "/pairs/{code}/acts", summary="Do one act on a pair", responses=DOING, openapi_extra=examples.named(examples.ACT)
)
def do_act(code: Code, body: ActIn, ask: Called, idempotency_key: Key = None) -> dict[str, Any]:
    """Answers where the pair stands afterwards. The same key sent twice acts once and answers the same twice."""
    asked = asked_in(body)
    with ask.writing() as (viewer, db):

        def act() -> dict[str, Any]:
            return standing(actions.do(db, code=code, asked=asked, by=viewer, done_at=body.done_at))

        sent = body.model_dump(mode="json") | {"code": code}
        _, answer = bench.once(db, staff_id=viewer.staff_id, key=idempotency_key, body=sent, act=act)
    return answer


def asked_in(body: ActIn) -> Asked:
    return Asked(**body.model_dump(exclude={"done_at"}))


def standing(moved: bench.Moved) -> dict[str, Any]:
    """Where a pair stands after an act."""
    state = moved.state
    return {
        "code": state.code,
        "stage": state.stage,
        "sides": dict(state.sides),
        "end": state.end,
        "place": state.place if state.stage else None,
        "version": state.version,
        "move": moved.move_id,
    }


class PrescriptionIn(Checked):
    """A prescription in whole; it becomes the next version. A pair on the bench stands still until the lab chooses."""

    prescription: dict[Literal["L", "R"], dict[str, Any]] = Field(description=examples.PRESCRIPTION)
    stage_notes: dict[str, str] = Field(default_factory=dict, description="Stage to the words shown there.")
    version: int | None = Field(default=None, description="The pair's version, if it must match.")
    words: str = Field(default="", max_length=4000, description="Why it changes.")


@router.post(
    "/pairs/{code}/prescription",
    summary="Change the prescription of a pair",
    responses=DOING,
    openapi_extra=examples.named(examples.PRESCRIPTIONS),
)
def change_prescription(code: Code, body: PrescriptionIn, ask: Called, idempotency_key: Key = None) -> dict[str, Any]:
    """Answers the pair's stage and version and the prescription's number."""
    with ask.writing() as (viewer, db):

        def act() -> dict[str, Any]:
            moved = bench.amend(
                db,
                code=code,
                by=viewer,
                body={str(side): items for side, items in body.prescription.items()},
                stage_notes=body.stage_notes,
                version=body.version,
                words=body.words,
                answers=body.answers(),
            )
            number = queries.prescription_number(db, moved.order_id)
            return {"stage": moved.state.stage, "version": moved.state.version, "prescription": number}

        sent = body.model_dump(mode="json") | {"prescription_of": code}
        _, answer = bench.once(db, staff_id=viewer.staff_id, key=idempotency_key, body=sent, act=act)
    return answer


class ParcelIn(In):
    """Pairs of one clinic that go into one parcel; all of them or none."""

    clinic_id: int = Field(description="The clinic at the other end.")
    codes: list[str] = Field(max_length=200, description="Pairs that wait at send, or at return if it comes back.")
    to_clinic: bool = Field(default=True, description="False for a parcel that comes back to the lab.")
    carrier: str = Field(default="", max_length=80, description="Who carries it.")
    tracking: str = Field(default="", max_length=80, description="The carrier's number for it.")
    belongings: list[int] = Field(
        default_factory=list, max_length=400, description="Numbers of the pairs' belongings that travel along."
    )


class ArrivalIn(In):
    """What of a parcel is not as it should be: code to `missing` or `damaged`; everything else is received."""

    exceptions: dict[str, str] = Field(default_factory=dict, description="A pair's code to missing or damaged.")
    belongings: dict[int, str] = Field(
        default_factory=dict, description="A belonging's number to missing or damaged; a pair goes on without it."
    )


@router.post(
    "/parcels",
    status_code=201,
    summary="Pack and send a parcel",
    responses=DOING,
    openapi_extra=examples.named(examples.PARCELS),
)
def send_parcel(body: ParcelIn, ask: Called, idempotency_key: Key = None) -> dict[str, Any]:
    """Every pair in it moves on. Answers the parcel's number, by which it is received."""
    with ask.writing() as (viewer, db):
        need(viewer, "pack_parcel", body.clinic_id)

        def act() -> dict[str, Any]:
            return {"parcel": parcels.send(db, by=viewer, **body.model_dump()).id}

        sent = body.model_dump(mode="json")
        _, answer = bench.once(db, staff_id=viewer.staff_id, key=idempotency_key, body=sent, act=act, status=201)
    return answer


@router.post(
    "/parcels/{parcel_id}/arrival",
    summary="Receive a parcel with its exceptions",
    responses=DOING,
    openapi_extra=examples.named(examples.ARRIVALS),
)
def receive_parcel(parcel_id: int, body: ArrivalIn, ask: Called, idempotency_key: Key = None) -> dict[str, Any]:
    """At a clinic what arrived goes on and what is missing waits on the lab. Answers the codes of both."""
    with ask.writing() as (viewer, db):
        need(viewer, "receive_parcel")

        def act() -> dict[str, Any]:
            arrived = parcels.receive(
                db, by=viewer, parcel_id=parcel_id, exceptions=body.exceptions, belongings=body.belongings
            )
            return arrived._asdict()

        sent = body.model_dump(mode="json") | {"parcel": parcel_id}
        _, answer = bench.once(db, staff_id=viewer.staff_id, key=idempotency_key, body=sent, act=act)
    return answer


@router.post(
    "/pairs/{code}/scans/{side}",
    status_code=201,
    summary="Add the scan file of one foot",
    responses=DOING,
    max_body_size=MOST_BYTES + web.MAX_BODY,
    openapi_extra=examples.files(
        {"scan": ("file", "A mesh in millimetres, z up, named .stl, .obj or .ply; at most 60 MB.")}, examples.SCANS
    ),
)
async def add_scan(request: Request, code: Code, side: Literal["L", "R"], ask: Called) -> dict[str, Any]:
    """The capture of this side has then arrived. Answers what the scan measures: millimetres, degrees (toes turned
    out positive), cubic centimetres. The same file sent again changes nothing; a file that is no foot answers 422."""
    await run_in_threadpool(_may_add_scan, ask, code, side)
    async with request.form(max_files=1, max_fields=10) as form:
        upload = form.get("scan")
        if not isinstance(upload, UploadFile):
            raise BadInput("Send the scan as the file 'scan' of a form.", {"scan": "The file is missing."})
        try:
            file = await read_upload(upload)
        except NotAFootMesh as fault:
            raise BadInput(str(fault), {"scan": str(fault)}) from None
    return await run_in_threadpool(_add_scan, request.app.state.storage, ask, code, side, file)


def _may_add_scan(ask: Ask, code: str, side: str) -> None:
    with ask.reading() as (viewer, db):
        actions.scan_side(db, code=code, side=side, by=viewer)


def _add_scan(storage: Storage, ask: Ask, code: str, side: str, file: ScanFile) -> dict[str, Any]:
    with ask.writing() as (viewer, db):
        pair = actions.add_scan(db, storage, code=code, side=side, file=file, by=viewer)
    measures = kept_measures(file.mesh)
    toe_out = file.mesh.toe_out_deg(side)
    del measures["turned_deg"]
    return {
        "code": pair.state.code,
        "side": side,
        "toe_out_deg": None if toe_out is None else round(toe_out, 1),
    } | measures


@router.get("/queues", summary="How many pairs wait at each stage")
def list_queues(ask: Called) -> dict[str, Any]:
    """Stages at which nothing waits are left out; a clinician's are of the own clinics."""
    with ask.reading() as (viewer, db):
        counts = queries.counts(db, clinics=own(viewer))
    return {
        "items": [
            {"stage": key, "queue": stage.queue}
            | {name: getattr(count, name) for name in ("pairs", "setting", "oldest", "parked")}
            for key, stage in STAGES.items()
            if (count := counts.get(key))
        ]
    }


def _item(row: QueueRow) -> dict[str, Any]:
    sides = {"L": row.left_stage, "R": row.right_stage}
    return {
        "code": row.code,
        "label": row.label,
        "clinic": row.clinic,
        "sides": {side: sides[side] for side in row.all_sides},
        "reason": row.reason,
        "place": row.place,
        "needs": row.needs,
        "parked_on": row.parked_on,
        "promised_on": row.promised_on,
        "since": row.since,
        "version": row.version,
    }
