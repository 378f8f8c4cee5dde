"""What happens to a capture: expected, arrived, accepted, void. Which pairs it stops is the bench's business."""

from collections.abc import Collection, Mapping

from sqlmodel import Session, col, select

from app import clock
from app.capture.tables import Capture, WorkedFrom
from app.journal import actions as journal
from app.people.rules import Viewer


def expect(db: Session, *, order_id: int, patient_id: int, kinds: Mapping[str, str]) -> None:
    """One capture a side that is still to come; the order is worked from it."""
    for side, kind in kinds.items():
        capture = Capture(patient_id=patient_id, side=side, kind=kind, expected_at=clock.now())
        db.add(capture)
        db.flush()
        work_from(db, order_id=order_id, side=side, capture_id=capture.id)


def work_from(db: Session, *, order_id: int, side: str, capture_id: int, positive_id: int | None = None) -> None:
    row = db.get(WorkedFrom, (order_id, side)) or WorkedFrom(order_id=order_id, side=side, capture_id=capture_id)
    row.capture_id, row.positive_id = capture_id, positive_id
    db.add(row)


def accept(
    db: Session, *, by: Viewer, order_id: int, sides: Collection[str], shelf: str = "", conditions: Mapping[str, bool]
) -> None:
    """The captures of these sides are in the lab and good to work from."""
    for capture in _of(db, order_id, sides):
        capture.arrived_at = capture.arrived_at or clock.now()
        capture.state = "accepted"
        capture.shelf = shelf or capture.shelf
        capture.conditions = dict(conditions)
        journal.write(db, "capture_accepted", by=by.staff_id, subject="capture", subject_id=capture.id)


def void(db: Session, *, by: Viewer, order_id: int, side: str, reason: str) -> list[int]:
    """The capture of this side can't be worked from any more; a new one of its kind is expected in its place.

    Returns every order that was worked from it, this one included: all of them wait for the new one.
    """
    (capture,) = _of(db, order_id, side)
    capture.state, capture.void_reason = "void", reason
    facts = {"reason": reason}
    journal.write(db, "capture_void", by=by.staff_id, subject="capture", subject_id=capture.id, facts=facts)
    again = Capture(patient_id=capture.patient_id, side=side, kind=capture.kind, expected_at=clock.now())
    db.add(again)
    db.flush()
    rows = db.exec(select(WorkedFrom).where(WorkedFrom.capture_id == capture.id)).all()
    for row in rows:
        row.capture_id, row.positive_id = again.id, None
    return sorted(row.order_id for row in rows)


def _of(db: Session, order_id: int, sides: Collection[str]) -> list[Capture]:
    wanted = (
        select(Capture)
        .join(WorkedFrom, col(WorkedFrom.capture_id) == col(Capture.id))
        .where(WorkedFrom.order_id == order_id, col(WorkedFrom.side).in_(list(sides)))
    )
    return list(db.exec(wanted))
