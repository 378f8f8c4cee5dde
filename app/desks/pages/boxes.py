"""What comes and goes: arrivals that belong to nobody yet, and parcels both ways."""

from collections import defaultdict
from collections.abc import Collection, Mapping
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.bench import queries
from app.bench.actions import parcels
from app.bench.rules.belongings import words_of
from app.bench.rules.machine import SIDE_WORDS
from app.capture import actions as capture
from app.capture import queries as captures
from app.capture.rules import KINDS
from app.desks.pages.common import lab_values
from app.desks.queries import own
from app.desks.rules import whole
from app.errors import BadInput, MovedOn, NotFound, Refusal, Unready
from app.people import queries as people
from app.people.permissions import need
from app.people.rules import Role, Viewer
from app.people.sessions import Signed
from app.templating import go, page
from app.web import Form, Typed

router = APIRouter(include_in_schema=False)


@router.get("/arrivals")
def arrivals(request: Request, ask: Signed) -> Response:
    with ask.reading() as (viewer, db):
        need(viewer, "log_arrival")
        values = _arrivals(db)
    return page(request, "desks/arrivals.html", viewer=viewer, typed=Typed(), errors={}, **values)


def _arrivals(db: Session) -> dict[str, Any]:
    return lab_values(db) | {
        "waiting": captures.waiting(db),
        "kinds": list(KINDS.items()),
        "kind_words": KINDS,
        "side_words": SIDE_WORDS,
        "clinics": [(str(clinic.id), clinic.name) for clinic in people.clinics(db)],
    }


@router.post("/arrivals")
def settle_arrival(request: Request, ask: Signed, form: Form) -> Response:
    """Logs what has come, matches it to its order, or returns it."""
    arrival = int(form["arrival"]) if form.get("arrival", "").isdigit() else 0
    clinic = form.get("clinic_id", "")
    said = "Written down."
    try:
        with ask.writing() as (viewer, db):
            need(viewer, "log_arrival")
            if form.get("act") == "match":
                loaded = queries.find(db, form.get("code", ""), viewer)
                capture.match_arrival(
                    db, by=viewer, arrival_id=arrival, order_id=loaded.row["order_id"], sides=form.get("sides", "")
                )
                said = f"Matched to {loaded.state.code}."
            elif form.get("act") == "return":
                capture.return_arrival(db, by=viewer, arrival_id=arrival)
                said = "Noted: it goes back."
            else:
                capture.log_arrival(
                    db,
                    by=viewer,
                    kind=form.get("kind", ""),
                    sides=form.get("sides", ""),
                    label=form.get("label", ""),
                    clinic_id=int(clinic) if clinic.isdigit() else None,
                    shelf=form.get("shelf", ""),
                    damaged="damaged" in form,
                    words=form.get("words", ""),
                )
    except (BadInput, NotFound) as refusal:
        with ask.reading() as (viewer, db):
            need(viewer, "log_arrival")
            values = _arrivals(db)
        errors = refusal.fields if isinstance(refusal, BadInput) else {"code": refusal.sentence}
        return page(
            request, "desks/arrivals.html", viewer=viewer, status=refusal.status, typed=form, errors=errors, **values
        )
    return go("/arrivals", said)


@router.get("/parcels")
def parcel_list(request: Request, ask: Signed) -> Response:
    with ask.reading() as (viewer, db):
        need(viewer, "pack_parcel")
        values = _parcels(db, viewer)
    return page(request, "desks/parcels.html", viewer=viewer, typed=Typed(), errors={}, **values)


def _parcels(db: Session, viewer: Viewer) -> dict[str, Any]:
    """What can be packed, by clinic and direction, and what is under way to where this person is."""
    clinics = own(viewer)
    boxes = []
    pair_ids: dict[int, str] = {}
    for stage, to_clinic, role in (("send", True, Role.TECHNICIAN), ("return", False, Role.CLINICIAN)):
        waiting = queries.queue(db, stage, clinics=clinics, limit=200)[0] if viewer.has(role) else []
        for clinic in people.clinics(db):
            rows = [row for row in waiting if row.clinic_id == clinic.id and not row.parked_on]
            if rows and viewer.at(clinic.id).has(role):
                boxes.append((clinic, to_clinic, [(row.code, row.label) for row in rows]))
                pair_ids |= {row.id: row.code for row in rows}
    under_way = queries.parcels_under_way(db, clinics=clinics)
    mine = {each.id for each in under_way if viewer.at(each.clinic_id).has(receiver(each.to_clinic))}
    contents = queries.parcel_contents(db, [each.id for each in under_way])
    return lab_values(db) | {
        "boxes": boxes,
        "under_way": under_way,
        "mine": mine,
        "contents": contents,
        "things": _things(db, pair_ids),
        "travelling": _travelling(db, [each.id for each in under_way]),
        "sides": SIDE_WORDS,
    }


def _things(db: Session, pair_ids: Mapping[int, str]) -> dict[str, list[tuple[int, str]]]:
    """What can travel along, by the pair's code: number and words."""
    found: dict[str, list[tuple[int, str]]] = defaultdict(list)
    for each in queries.belongings(db, pair_ids, unsettled=True) if pair_ids else []:
        found[pair_ids[each.pair_id]].append((each.id, words_of(each.kind, each.side)))
    return found


def _travelling(db: Session, parcel_ids: Collection[int]) -> dict[int, list[tuple[int, str]]]:
    """What travels beside the devices, by parcel: number and words."""
    found: dict[int, list[tuple[int, str]]] = defaultdict(list)
    for each in queries.travelling(db, parcel_ids=parcel_ids):
        found[each.parcel_id].append((each.id, f"{words_of(each.kind, each.side)} of {each.code}"))
    return found


def receiver(to_clinic: bool) -> Role:
    return Role.CLINICIAN if to_clinic else Role.TECHNICIAN


@router.post("/parcels")
def pack_parcel(request: Request, ask: Signed, form: Form) -> Response:
    clinic = form.get("clinic_id", "")
    try:
        with ask.writing() as (viewer, db):
            clinic_id = int(clinic) if clinic.isdigit() else 0
            need(viewer, "pack_parcel", clinic_id)
            parcel = parcels.send(
                db,
                by=viewer,
                clinic_id=clinic_id,
                codes=form.all("codes"),
                to_clinic=form.get("to_clinic") == "yes",
                carrier=form.get("carrier", ""),
                tracking=form.get("tracking", ""),
                belongings=_ticked(form),
            )
            said = f"Parcel {parcel.id} is sent with {len(set(form.all('codes')))} pairs. Print its slip."
    except (BadInput, Unready, MovedOn) as refusal:
        return _parcels_again(request, ask, form, refusal)
    return go("/parcels", said)


def _ticked(form: Typed) -> list[int]:
    """The belongings of the pairs that were chosen; those of a pair that stays behind stay with it."""
    return [whole(number) for code in form.all("codes") for number in form.all(f"things.{code}")]


def _parcels_again(request: Request, ask: Signed, form: Form, refusal: Refusal) -> Response:
    with ask.reading() as (viewer, db):
        values = _parcels(db, viewer)
    errors = refusal.fields if isinstance(refusal, BadInput) else {"": refusal.sentence}
    return page(
        request, "desks/parcels.html", viewer=viewer, status=refusal.status, typed=form, errors=errors, **values
    )


@router.post("/parcels/{parcel_id}")
def receive_parcel(request: Request, parcel_id: int, ask: Signed, form: Form) -> Response:
    """Everything that is not named as missing or damaged has come."""
    exceptions = {
        key.removeprefix("came."): how for key, how in form.items() if key.startswith("came.") and how != "well"
    }
    things = {
        whole(key.removeprefix("thing.")): how
        for key, how in form.items()
        if key.startswith("thing.") and how != "well"
    }
    try:
        with ask.writing() as (viewer, db):
            need(viewer, "receive_parcel")
            arrived = parcels.receive(db, by=viewer, parcel_id=parcel_id, exceptions=exceptions, belongings=things)
    except (BadInput, Unready, MovedOn) as refusal:
        return _parcels_again(request, ask, form, refusal)
    missing = f" Missing: {', '.join(arrived.missing)}; the lab is asked." if arrived.missing else ""
    if arrived.missing_belongings:
        missing += f" Also missing, to be looked for: {'; '.join(arrived.missing_belongings)}."
    return go("/parcels", f"{len(arrived.received)} pairs have come.{missing}")
