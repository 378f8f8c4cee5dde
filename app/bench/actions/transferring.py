"""A wearer moves to another clinic with every pair: the open ones go on by the new clinic's way."""

from dataclasses import replace
from datetime import datetime

from sqlalchemy import update
from sqlmodel import Session, col, select

from app.bench import queries
from app.bench.actions.moving import Moved, write
from app.bench.queries import pair_t, visit_t
from app.bench.rules import machine
from app.bench.rules.machine import Asked, Outcome
from app.bench.rules.stages import rerouted
from app.bench.tables import Pair
from app.errors import BadInput, Unready
from app.journal import actions as journal
from app.orders.tables import Order, Patient
from app.people import queries as people
from app.people.rules import Viewer

UNDER_WAY = ("send", "receive", "return")


def transfer(db: Session, *, code: str, asked: Asked, by: Viewer, done_at: datetime | None = None) -> Moved:
    """`asked.facts["clinic"]` is the clinic's id. A pair in a parcel has to arrive first.

    The reason stands with each pair. `done_at` is of the pair that was named; the wearer's others follow now.
    """
    loaded = queries.find(db, code, by, lock=True)
    machine.check(loaded.state, asked, by)
    clinic_id = int(asked.facts.get("clinic") or 0)
    clinic = people.clinic(db, clinic_id)
    patient = db.get_one(Patient, loaded.row["patient_id"], with_for_update=True)
    _check(db, patient, clinic_id, clinic.name)
    terms = queries.terms_of(db, clinic_id)
    own = select(Pair.id).join(Order, col(Order.id) == col(Pair.order_id)).where(Order.patient_id == patient.id)
    moved: dict[int, Moved] = {}
    for pair_id in db.exec(own.order_by(col(Pair.code))).all():
        each = queries.find_by_id(db, pair_id, lock=True)
        state = each.state
        if state.stage in UNDER_WAY:
            raise Unready(f"{state.code} is being sent; transfer the wearer when it has arrived.", code=state.code)
        if state.stage:
            route = rerouted(state.route, terms)
            after = replace(state, route=route, terms=terms, version=state.version + 1)
        else:
            after = replace(state, version=state.version + 1)
        outcome = Outcome(after, state.all_sides, None)
        here = Asked("transfer", state.stage, reason=asked.reason, facts={"clinic": clinic_id})
        at = done_at if pair_id == loaded.row["id"] else None
        moved[pair_id] = write(db, each, here, outcome, by, at, changes={"clinic_id": clinic_id})
        # What is still to come follows the new clinic; what was walked keeps its record in the moves.
        kept = {"by_parcel": after.terms.by_parcel, "trims_at_clinic": after.terms.trims_at_clinic}
        db.execute(update(visit_t).where(visit_t.c.id == each.row["visit_id"]).values(**kept))
        db.execute(update(pair_t).where(pair_t.c.id == pair_id).values(place=after.place))
    before, patient.clinic_id = patient.clinic_id, clinic_id
    facts = {"clinics": [before, clinic_id], "pairs": len(moved)}
    journal.write(db, "transferred", by=by.staff_id, subject="patient", subject_id=patient.id, facts=facts)
    return moved[loaded.row["id"]]


def _check(db: Session, patient: Patient, clinic_id: int, name: str) -> None:
    if clinic_id == patient.clinic_id:
        words = f"{patient.label} is at {name} already."
        raise BadInput(words, {"clinic": words})
    taken = select(Patient.id).where(Patient.clinic_id == clinic_id, Patient.label_key == patient.label_key)
    if db.exec(taken).first() is not None:
        words = f"{name} has a wearer with the label {patient.label} already; change one of the labels first."
        raise BadInput(words, {"clinic": words})
