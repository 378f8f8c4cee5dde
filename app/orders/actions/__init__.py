"""Writing down a wearer, an order and each version of its prescription. The pair that follows is made by the bench."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from sqlalchemy import func
from sqlmodel import Session, col, select

from app import clock
from app.errors import BadInput
from app.journal import actions as journal
from app.orders.rules import ULCER_ASKS, Body, Feet, read_body
from app.orders.rules.checks import Answers, Asked, Unanswered, findings, told
from app.orders.rules.dues import read_dues
from app.orders.tables import Order, Patient, Prescription
from app.people import queries as people
from app.people.rules import Viewer
from app.trade import codes

WEARER_FIELDS = ("name", "born_on", "born_year", "mass_kg", "posture_left", "posture_right", "risks")


def find_or_add_patient(db: Session, *, by: Viewer, clinic_id: int, label: str, facts: dict[str, Any]) -> Patient:
    """The clinic's wearer with this chart label; what `facts` say newly of a known one is taken over and journalled."""
    key = codes.normalise(label)
    if not key:
        words = "A chart label has at least one letter or digit."
        raise BadInput(words, {"label": words})
    patient = db.exec(select(Patient).where(Patient.clinic_id == clinic_id, Patient.label_key == key)).first()
    added = patient is None
    if patient is None:
        patient = Patient(clinic_id=clinic_id, label=label.strip(), label_key=key)
        db.add(patient)
    changed = [name for name in WEARER_FIELDS if facts.get(name) not in (None, [], getattr(patient, name))]
    for name in changed:
        setattr(patient, name, facts[name])
    db.flush()
    if added or changed:
        what = "patient_added" if added else "patient_changed"
        journal.write(db, what, by=by.staff_id, subject="patient", subject_id=patient.id, facts={"fields": changed})
    return patient


def order(
    db: Session,
    *,
    by: Viewer,
    patient: Patient,
    prescriber_id: int,
    way: str,
    sides: str,
    body: Body,
    stage_notes: dict[str, str],
    wanted_on: date | None,
    rush: str | None,
    ulcer: str | None,
    shoe: dict[str, Any],
    feet: Feet,
    answers: Answers | None = None,
) -> tuple[Order, Prescription]:
    if "active_ulcer" in patient.risks and not ulcer:
        raise BadInput(ULCER_ASKS, {"ulcer": ULCER_ASKS})
    made = Order(
        patient_id=patient.id,
        clinic_id=patient.clinic_id,
        prescriber_id=prescriber_id,
        typed_by=by.staff_id,
        ordered_at=clock.now(),
        way=way,
        sides=sides,
        wanted_on=wanted_on,
        rush_note_id=journal.keep_words(db, rush, patient.id).id if rush else None,
        ulcer_note_id=journal.keep_words(db, ulcer, patient.id).id if ulcer else None,
        shoe=shoe,
        feet=feet,
    )
    db.add(made)
    db.flush()
    return made, prescribe(db, by=by, order=made, body=body, stage_notes=stage_notes, answers=answers)


def note_dues(db: Session, *, by: Viewer, order_id: int, raw: Mapping[str, Any]) -> Order:
    """How approval and payment stand now; the journal keeps old and new, the approval's number in a note."""
    order = db.get_one(Order, order_id, with_for_update=True)
    dues = read_dues(raw, clock.today(by.zone))
    names = sorted({*dues, *order.dues})
    changed = {name: [order.dues.get(name), dues.get(name)] for name in names if order.dues.get(name) != dues.get(name)}
    if not changed:
        return order
    order.dues = dues
    number = changed.pop("number", None)
    was_is = f"number: {number[0] or '-'} → {number[1] or '-'}" if number else ""
    note = journal.keep_words(db, was_is, order.patient_id) if was_is else None
    facts = {"fields": [name for name in names if name == "number" or name in changed]} | changed
    journal.write(db, "dues_noted", by=by.staff_id, subject="order", subject_id=order.id, facts=facts, note=note)
    return order


def prescribe(
    db: Session,
    *,
    by: Viewer,
    order: Order,
    body: Body,
    stage_notes: dict[str, str] | None = None,
    answers: Answers | None = None,
) -> Prescription:
    """Writes the next version; the earlier ones stay as they were printed.

    With `answers` the checks are asked, and each of their findings has to have its answer. Without them nothing is
    asked: a remake repeats what was answered before, and invented data needs no signature.
    """
    body = read_body(body, order.sides)
    checks = _checked(db, by, order, body, answers) if answers is not None else []
    last = db.exec(select(func.max(col(Prescription.number))).where(Prescription.order_id == order.id)).one()
    notes = {
        stage: journal.keep_words(db, words, order.patient_id).id
        for stage, words in (stage_notes or {}).items()
        if words.strip()
    }
    version = Prescription(
        order_id=order.id,
        number=(last or 0) + 1,
        body=body,
        stage_notes=notes,
        checks=checks,
        made_by=by.staff_id,
        made_at=clock.now(),
    )
    db.add(version)
    db.flush()
    journal.write(
        db,
        "prescribed",
        by=by.staff_id,
        subject="order",
        subject_id=order.id,
        facts={"prescription": version.id, "number": version.number},
    )
    return version


def _checked(db: Session, by: Viewer, order: Order, body: Body, answers: Answers) -> list[dict[str, Any]]:
    """What is kept of the checks with the version; Unanswered if something was not answered."""
    patient = db.get_one(Patient, order.patient_id)
    ulcer, allowance = order.ulcer_note_id is not None, people.lab(db).last_allowance
    asked = Asked(body, order.shoe, order.feet, ulcer, clock.today(by.zone), allowance)
    found = findings(asked, patient, answers)
    said = {each.key: answers.to(each) for each in found}
    if None in said.values():
        raise Unanswered(found, answers)
    checks: list[dict[str, Any]] = []
    for each in found:
        note = journal.keep_words(db, said[each.key] or "", patient.id) if each.level == "stop" else None
        checks.append(told(each) | ({"note": note.id} if note else {}))
        if note:
            facts = {"check": each.key}
            journal.write(
                db, "stop_signed", by=by.staff_id, subject="order", subject_id=order.id, facts=facts, note=note
            )
    return checks
