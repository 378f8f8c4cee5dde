"""Reading starting prescriptions: one's own, and those of the clinics one orders for."""

from sqlalchemy import ColumnElement, or_
from sqlmodel import Session, col, func, select

from app.errors import NotFound
from app.orders.tables import StartingPrescription
from app.people.rules import Viewer


def starts(db: Session, viewer: Viewer) -> list[StartingPrescription]:
    """By name."""
    found = select(StartingPrescription).where(_theirs(viewer))
    return list(db.exec(found.order_by(func.lower(StartingPrescription.name), col(StartingPrescription.id))))


def start(db: Session, viewer: Viewer, start_id: int, *, lock: bool = False) -> StartingPrescription:
    query = select(StartingPrescription).where(StartingPrescription.id == start_id, _theirs(viewer))
    found = db.exec(query.with_for_update() if lock else query).first()
    if found is None:
        raise NotFound("There is no such start: it was thrown away, or is of another clinic or person.")
    return found


def _theirs(viewer: Viewer) -> ColumnElement[bool]:
    mine = col(StartingPrescription.staff_id) == viewer.staff_id
    return or_(mine, col(StartingPrescription.clinic_id).in_(viewer.clinics))
