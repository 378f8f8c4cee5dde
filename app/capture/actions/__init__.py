"""What happens to a capture: expected, arrived, accepted, void. Which pairs it stops is the bench's business."""

import hashlib
from collections.abc import Collection, Mapping
from datetime import date
from typing import Any

from sqlmodel import Session, col, select

from app import clock
from app.capture import queries
from app.capture.reading.scans import ScanFile
from app.capture.rules import KINDS, kept_measures, why_no_scan
from app.capture.tables import Arrival, Capture, Scan, WorkedFrom
from app.errors import BadInput, NotFound, Unready
from app.journal import actions as journal
from app.people.rules import Viewer
from app.storage import Storage


def expect(
    db: Session, *, order_id: int, patient_id: int, kinds: Mapping[str, str], captured_on: date | None = None
) -> None:
    """One capture a side that is still to come; the order is worked from it."""
    for side, kind in kinds.items():
        capture = Capture(patient_id=patient_id, side=side, kind=kind, captured_on=captured_on, expected_at=clock.now())
        db.add(capture)
        db.flush()
        work_from(db, order_id=order_id, side=side, capture_id=capture.id)


def share(db: Session, *, order_id: int, new_order_id: int, sides: Collection[str], positives: str = "LR") -> None:
    """These sides of a new order are worked from the captures of the earlier order, and those in `positives` from its
    positives: the others get one of their own."""
    rows = select(WorkedFrom).where(WorkedFrom.order_id == order_id, col(WorkedFrom.side).in_(list(sides)))
    for row in db.exec(rows).all():
        positive = row.positive_id if row.side in positives else None
        work_from(db, order_id=new_order_id, side=row.side, capture_id=row.capture_id, positive_id=positive)


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


def add_scan(db: Session, storage: Storage, *, by: Viewer, order_id: int, side: str, file: ScanFile) -> None:
    """The scan of this side is here; an earlier one gives way to it. The very file that it has already does nothing."""
    captures = _of(db, order_id, side)
    if not captures:
        raise Unready("This side is worked from what was made before, so it takes no scan file.")
    (capture,) = captures
    sha256 = hashlib.sha256(file.content).hexdigest()
    for other in queries.scans_of_order(db, order_id).values():
        if other.sha256 == sha256 and other.side == side:
            return
        if other.sha256 == sha256:
            words = "This is the very file that the other side has; send this side's own."
            raise BadInput(words, {f"scan.{side}": words})
    if why_not := why_no_scan(capture.kind, capture.state, capture.file_key is not None):
        raise Unready(why_not)
    key = storage.keep_with(db, file.content, file.mesh.kind)
    scan = Scan(
        capture_id=capture.id,
        file_key=key,
        kind=file.mesh.kind,
        size_bytes=len(file.content),
        sha256=sha256,
        measures=kept_measures(file.mesh),
        uploaded_by=by.staff_id,
        uploaded_at=clock.now(),
    )
    db.add(scan)
    capture.file_key = key
    if capture.state == "expected":
        capture.state, capture.arrived_at = "arrived", scan.uploaded_at
    db.flush()
    journal.write(db, "scan_added", by=by.staff_id, subject="capture", subject_id=capture.id, facts={"scan": scan.id})


def log_arrival(
    db: Session,
    *,
    by: Viewer,
    kind: str,
    sides: str,
    label: str = "",
    clinic_id: int | None = None,
    shelf: str = "",
    damaged: bool = False,
    words: str = "",
) -> Arrival:
    """Something has come; whose it is can be found out later."""
    wrong = {}
    if kind not in KINDS:
        wrong["kind"] = "Choose what it is."
    if sides not in ("L", "R", "LR"):
        wrong["sides"] = "Choose left, right or both."
    if wrong:
        raise BadInput("The arrival needs another look.", wrong)
    note = journal.keep_words(db, words.strip()[:2000], None) if words.strip() else None
    arrival = Arrival(
        at=clock.now(),
        logged_by=by.staff_id,
        kind=kind,
        sides=sides,
        label=label.strip()[:60],
        clinic_id=clinic_id,
        shelf=shelf.strip()[:20],
        damaged=damaged,
        note_id=note.id if note else None,
    )
    db.add(arrival)
    db.flush()
    journal.write(db, "arrived", by=by.staff_id, subject="arrival", subject_id=arrival.id)
    return arrival


def match_arrival(db: Session, *, by: Viewer, arrival_id: int, order_id: int, sides: str) -> Arrival | None:
    """These sides of an arrival belong to this order: its captures have arrived.

    Of two wearers in one box each side is matched on its own; what is left over waits on as an arrival and is
    returned. One foot of two leaves the other expected.
    """
    arrival = _waiting(db, arrival_id)
    if not sides or set(sides) - set(arrival.sides):
        words = f"This arrival holds {arrival.sides}; '{sides}' is not part of it."
        raise BadInput(words, {"sides": words})
    captures = [capture for capture in _of(db, order_id, sides) if capture.state == "expected"]
    if {capture.side for capture in captures} != set(sides):
        words = "This order does not wait for these sides; look at its captures."
        raise BadInput(words, {"code": words})
    for capture in captures:
        capture.state, capture.arrived_at = "arrived", arrival.at
        capture.kind, capture.shelf = arrival.kind, arrival.shelf
    rest = "".join(side for side in arrival.sides if side not in sides)
    left_over = None
    if rest:
        copied = ("at", "logged_by", "kind", "label", "clinic_id", "shelf", "damaged", "note_id")
        left_over = Arrival(sides=rest, **{name: getattr(arrival, name) for name in copied})
        db.add(left_over)
        db.flush()
    arrival.order_id = order_id
    _settle(db, by, arrival, "split" if rest else "matched", {"order": order_id, "sides": sides})
    return left_over


def return_arrival(db: Session, *, by: Viewer, arrival_id: int) -> None:
    """Nobody's: it goes back to where it came from."""
    _settle(db, by, _waiting(db, arrival_id), "returned", {})


def _waiting(db: Session, arrival_id: int) -> Arrival:
    arrival = db.get(Arrival, arrival_id, with_for_update=True)
    if arrival is None or arrival.settled_at is not None:
        raise NotFound("This arrival is settled already.")
    return arrival


def _settle(db: Session, by: Viewer, arrival: Arrival, became: str, facts: dict[str, Any]) -> None:
    arrival.became, arrival.settled_at, arrival.settled_by = became, clock.now(), by.staff_id
    journal.write(db, f"arrival_{became}", by=by.staff_id, subject="arrival", subject_id=arrival.id, facts=facts)


def _of(db: Session, order_id: int, sides: Collection[str]) -> list[Capture]:
    wanted = (
        select(Capture)
        .join(WorkedFrom, col(WorkedFrom.capture_id) == col(Capture.id))
        .where(WorkedFrom.order_id == order_id, col(WorkedFrom.side).in_(list(sides)))
    )
    return list(db.exec(wanted))
