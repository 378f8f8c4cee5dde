"""Parcels between the lab and its clinics, both ways: packed from a list, received in one act with its exceptions."""

from collections.abc import Collection, Mapping
from typing import NamedTuple

from sqlalchemy import update
from sqlmodel import Session, col, select

from app import clock
from app.bench import queries
from app.bench.actions import belongings as things
from app.bench.actions.moving import move
from app.bench.queries import pair_t
from app.bench.rules.machine import Asked
from app.bench.tables import Pair, Parcel, ParcelItem
from app.errors import BadInput, NotFound, Unready
from app.journal import actions as journal
from app.people import queries as people
from app.people.rules import Role, Viewer

EXCEPTIONS = ("missing", "damaged")


class Arrived(NamedTuple):
    """What came of a parcel: codes that are here, and those that are not; belongings that are not, in words."""

    received: list[str]
    missing: list[str]
    missing_belongings: list[str]


def send(
    db: Session,
    *,
    by: Viewer,
    clinic_id: int,
    codes: Collection[str],
    to_clinic: bool = True,
    carrier: str = "",
    tracking: str = "",
    belongings: Collection[int] = (),
) -> Parcel:
    """Packs pairs that wait to be sent (or to come back) into one parcel and sends it; all of them or none.

    `belongings` are the numbers of what travels with them.
    """
    clinic = people.clinic(db, clinic_id)
    if not codes:
        words = "Choose at least one pair for the parcel."
        raise BadInput(words, {"codes": words})
    parcel = Parcel(
        clinic_id=clinic_id,
        to_clinic=to_clinic,
        carrier=carrier.strip()[:80],
        tracking=tracking.strip()[:80],
        sent_at=clock.now(),
        sent_by=by.staff_id,
    )
    db.add(parcel)
    db.flush()
    stage, pair_ids = "send" if to_clinic else "return", []
    for code in sorted(set(codes)):
        loaded = queries.find(db, code, by, lock=True)
        if loaded.row["clinic_id"] != clinic_id:
            raise Unready(f"{code} does not belong into a parcel for {clinic.name}.")
        sides = loaded.state.working
        move(db, code=code, asked=Asked("advance", stage, facts={"parcel": parcel.id}), by=by)
        db.add(ParcelItem(parcel_id=parcel.id, pair_id=loaded.row["id"], sides=sides))
        pair_ids.append(loaded.row["id"])
    things.pack(db, parcel=parcel, pair_ids=pair_ids, numbers=belongings)
    facts = {"clinic": clinic_id, "pairs": len(pair_ids), "belongings": sorted(set(belongings))}
    journal.write(db, "parcel_sent", by=by.staff_id, subject="parcel", subject_id=parcel.id, facts=facts)
    return parcel


def receive(
    db: Session,
    *,
    by: Viewer,
    parcel_id: int,
    exceptions: Mapping[str, str],
    belongings: Mapping[int, str] = {},
) -> Arrived:
    """Receives all of a parcel but what `exceptions` names by code, and `belongings` by number, as missing or damaged.

    At a clinic each pair goes on to its next stage; a missing one stands still and waits on the lab, a damaged one
    goes on with a question to it. At the lab the pairs have come back and wait to be checked in. A missing belonging
    stops no pair.
    """
    parcel = db.get(Parcel, parcel_id, with_for_update=True)
    if parcel is None or not queries.sees(by, parcel.clinic_id):
        raise NotFound("There is no such parcel here.")
    if parcel.received_at is not None:
        raise Unready("This parcel was received already.")
    if not parcel.to_clinic and not by.has(Role.TECHNICIAN):
        raise NotFound("A parcel that comes back is received at the lab.")
    items = db.exec(
        select(ParcelItem, Pair.code)
        .join(Pair, col(Pair.id) == col(ParcelItem.pair_id))
        .where(ParcelItem.parcel_id == parcel_id)
        .order_by(col(Pair.code))
    ).all()
    _check(exceptions, {code for _, code in items})
    _check_states({f"belongings.{number}": what for number, what in belongings.items()})
    parcel.received_at, parcel.received_by = clock.now(), by.staff_id
    for item, code in items:
        item.state = exceptions.get(code, "received")
        if parcel.to_clinic:
            _arrive(db, by, code, item.state)
        elif item.state != "missing":
            db.execute(update(pair_t).where(pair_t.c.id == item.pair_id).values(place="lab"))
    missing = [code for item, code in items if item.state == "missing"]
    missing_things = things.unpack(db, parcel=parcel, exceptions=belongings)
    facts = {"missing": len(missing), "pairs": len(items), "belongings": {str(k): v for k, v in belongings.items()}}
    journal.write(db, "parcel_received", by=by.staff_id, subject="parcel", subject_id=parcel_id, facts=facts)
    return Arrived([code for item, code in items if item.state != "missing"], missing, missing_things)


def _check(exceptions: Mapping[str, str], codes: Collection[str]) -> None:
    wrong = {code: f"{code} is not in this parcel." for code in exceptions if code not in codes}
    if wrong:
        raise BadInput(" ".join(wrong.values()), wrong)
    _check_states(exceptions)


def _check_states(exceptions: Mapping[str, str]) -> None:
    wrong = {
        name: f"'{what[:20]}' is no exception: missing or damaged."
        for name, what in exceptions.items()
        if what not in EXCEPTIONS
    }
    if wrong:
        raise BadInput(" ".join(wrong.values()), wrong)


def _arrive(db: Session, by: Viewer, code: str, state: str) -> None:
    if state == "missing":
        asked = Asked("park", "receive", reason="missing", waiting_on="lab")
        move(db, code=code, asked=asked, by=by)
        return
    stage = move(db, code=code, asked=Asked("advance", "receive"), by=by).state.stage
    if state == "damaged":
        asked = Asked("ask", stage, reason="It arrived damaged: what is to be done?", waiting_on="lab")
        move(db, code=code, asked=asked, by=by)
