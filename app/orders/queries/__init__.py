"""Reading orders: the prescription that holds now, its versions, and finding wearers by their label."""

from collections.abc import Collection
from typing import Any, NamedTuple

from sqlalchemy import bindparam
from sqlmodel import Session, col, select

from app.journal.tables import Note
from app.orders.tables import Order, Patient, Prescription
from app.trade import codes

order_t, patient_t, prescription_t = (Order.metadata.tables[name] for name in ("orders", "patient", "prescription"))


class Holding(NamedTuple):
    """The prescription in force."""

    number: int
    body: dict[str, dict[str, Any]]
    stage_notes: dict[str, int]


def holding(db: Session, order_id: int) -> Holding:
    row = db.execute(
        select(Prescription.number, Prescription.body, Prescription.stage_notes)
        .where(col(Prescription.order_id) == order_id)
        .order_by(col(Prescription.number).desc())
        .limit(1)
    ).one()
    return Holding(*row)


class Earlier(NamedTuple):
    """What an order repeats: the earlier order, and its prescription as it held when this one was made."""

    order_id: int
    body: dict[str, dict[str, Any]]


def repeated(db: Session, order_id: int) -> Earlier | None:
    made = select(Order.repeats_id, Order.ordered_at).where(col(Order.id) == order_id).subquery()
    row = db.execute(
        select(Prescription.order_id, Prescription.body)
        .join(made, made.c.repeats_id == col(Prescription.order_id))
        .where(col(Prescription.made_at) <= made.c.ordered_at)
        .order_by(col(Prescription.number).desc())
        .limit(1)
    ).first()
    return Earlier(*row) if row else None


def bodies(db: Session, order_ids: Collection[int]) -> dict[int, dict[str, dict[str, Any]]]:
    """The prescription in force of each of these orders, by side."""
    rows = db.execute(
        select(prescription_t.c.order_id, prescription_t.c.body)
        .where(prescription_t.c.order_id.in_(order_ids))
        .order_by(prescription_t.c.number)
    )
    return {row[0]: row[1] for row in rows}  # the last of an order's is the one that holds


_FOR_THE_BENCH = (
    select(prescription_t.c.body, patient_t.c.risks)
    .join(order_t, order_t.c.id == prescription_t.c.order_id)
    .join(patient_t, patient_t.c.id == order_t.c.patient_id)
    .where(prescription_t.c.order_id == bindparam("order_id"))
    .order_by(prescription_t.c.number.desc())
    .limit(1)
)


def for_the_bench(db: Session, order_id: int) -> tuple[dict[str, dict[str, Any]], list[str]]:
    """The prescription in force by side, and the wearer's risk marks: for what the bench must know of them, never to
    be shown there as they are."""
    body, risks = db.execute(_FOR_THE_BENCH, {"order_id": order_id}).one()
    return body, risks


class Answered(NamedTuple):
    """A finding of the checks and what was said to it: "" where a caution was seen."""

    sentence: str
    source: str
    trust: str
    reason: str


def checks(db: Session, order_id: int) -> list[Answered]:
    """Of the prescription in force; they speak of the wearer and are for those who see the record."""
    newest = (
        select(Prescription.checks).where(Prescription.order_id == order_id).order_by(col(Prescription.number).desc())
    )
    found = db.execute(newest.limit(1)).scalar_one()
    said = words(db, [each["note"] for each in found if "note" in each])
    return [
        Answered(each["sentence"], each["source"], each["trust"], said.get(each.get("note", 0), "")) for each in found
    ]


def words(db: Session, note_ids: Collection[int]) -> dict[int, str]:
    """What was typed, by note id; an erased note is left out."""
    if not note_ids:
        return {}
    rows = db.execute(select(Note.id, Note.words).where(col(Note.id).in_(note_ids), col(Note.words).is_not(None)))
    return {row[0]: row[1] for row in rows}


def order_and_patient(db: Session, order_id: int) -> tuple[Order, Patient]:
    row = db.execute(
        select(Order, Patient).join(Patient, col(Patient.id) == col(Order.patient_id)).where(col(Order.id) == order_id)
    ).one()
    return row[0], row[1]


def labels(db: Session, patient_ids: Collection[int]) -> dict[int, str]:
    """The chart labels of these wearers."""
    if not patient_ids:
        return {}
    rows = db.execute(select(Patient.id, Patient.label).where(col(Patient.id).in_(patient_ids)))
    return {row[0]: row[1] for row in rows}


def called(db: Session, label: str) -> tuple[list[int], list[int]]:
    """The wearers of any clinic with exactly this chart label, and their orders."""
    rows = db.execute(
        select(Patient.id, Order.id)
        .join(Order, col(Order.patient_id) == col(Patient.id), isouter=True)
        .where(col(Patient.label_key) == codes.normalise(label))
    ).all()
    return sorted({row[0] for row in rows}), sorted({row[1] for row in rows if row[1] is not None})
