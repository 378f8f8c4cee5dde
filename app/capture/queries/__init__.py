"""Reading captures: what waits to be matched, what an order is worked from, which orders wait for what came."""

from collections.abc import Collection
from datetime import date, datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlmodel import Session, col

from app.capture.tables import Arrival, Capture, Scan, WorkedFrom
from app.journal.tables import Note
from app.people.tables import Clinic, Staff
from app.trade.footmesh import FootMesh


class Waiting(NamedTuple):
    id: int
    at: datetime
    by: str
    kind: str
    sides: str
    label: str
    clinic: str | None
    shelf: str
    damaged: bool
    words: str | None


def waiting(db: Session) -> list[Waiting]:
    """Arrivals that belong to nobody yet, oldest first."""
    rows = db.execute(
        select(
            col(Arrival.id),
            col(Arrival.at),
            col(Staff.name),
            col(Arrival.kind),
            col(Arrival.sides),
            col(Arrival.label),
            col(Clinic.name),
            col(Arrival.shelf),
            col(Arrival.damaged),
            col(Note.words),
        )
        .join(Staff, col(Staff.id) == col(Arrival.logged_by))
        .join(Clinic, col(Clinic.id) == col(Arrival.clinic_id), isouter=True)
        .join(Note, col(Note.id) == col(Arrival.note_id), isouter=True)
        .where(col(Arrival.settled_at).is_(None))
        .order_by(col(Arrival.at), col(Arrival.id))
    )
    return [Waiting(*row) for row in rows]


class CaptureRow(NamedTuple):
    side: str
    kind: str
    state: str
    shelf: str
    arrived_at: datetime | None
    file_key: str | None
    captured_on: date | None


def of_order(db: Session, order_id: int) -> list[CaptureRow]:
    """What each side of an order is worked from, left before right."""
    rows = db.execute(
        select(
            col(Capture.side),
            col(Capture.kind),
            col(Capture.state),
            col(Capture.shelf),
            col(Capture.arrived_at),
            col(Capture.file_key),
            col(Capture.captured_on),
        )
        .join(WorkedFrom, col(WorkedFrom.capture_id) == col(Capture.id))
        .where(col(WorkedFrom.order_id) == order_id)
        .order_by(col(Capture.side))
    )
    return [CaptureRow(*row) for row in rows]


def captured_on(db: Session, order_id: int, zone: str) -> dict[str, date]:
    """By side, when each foot was captured; where that was not said, the day on which it came."""
    here = ZoneInfo(zone)
    days = {
        row.side: row.captured_on or (row.arrived_at.astimezone(here).date() if row.arrived_at else None)
        for row in of_order(db, order_id)
    }
    return {side: day for side, day in days.items() if day is not None}


class ScanRow(NamedTuple):
    side: str
    file_key: str
    size_bytes: int
    sha256: str
    mesh: FootMesh
    by: str
    at: datetime


def scans_of_order(db: Session, order_id: int) -> dict[str, ScanRow]:
    """The scan that each side of an order is worked from, by side; a side without a file is left out."""
    rows = db.execute(
        select(
            col(Capture.side),
            col(Scan.file_key),
            col(Scan.size_bytes),
            col(Scan.sha256),
            col(Scan.measures),
            col(Staff.name),
            col(Scan.uploaded_at),
        )
        .join(Capture, col(Capture.file_key) == col(Scan.file_key))
        .join(WorkedFrom, col(WorkedFrom.capture_id) == col(Capture.id))
        .join(Staff, col(Staff.id) == col(Scan.uploaded_by))
        .where(col(WorkedFrom.order_id) == order_id)
        .order_by(col(Capture.side))
    )
    return {row[0]: ScanRow(*row)._replace(mesh=FootMesh(**row[4])) for row in rows}


def meshes(db: Session, order_ids: Collection[int]) -> dict[int, dict[str, FootMesh]]:
    """What the scans that these orders are worked from measure, by side."""
    found: dict[int, dict[str, FootMesh]] = {order_id: {} for order_id in order_ids}
    rows = db.execute(
        select(col(WorkedFrom.order_id), col(Capture.side), col(Scan.measures))
        .join(Capture, col(Capture.id) == col(WorkedFrom.capture_id))
        .join(Scan, col(Scan.file_key) == col(Capture.file_key))
        .where(col(WorkedFrom.order_id).in_(order_ids))
    )
    for order_id, side, measures in rows:
        found[order_id][side] = FootMesh(**measures)
    return found


def whose(db: Session, capture_ids: Collection[int]) -> dict[int, tuple[int, str]]:
    """Wearer and side of these captures."""
    if not capture_ids:
        return {}
    rows = db.execute(
        select(col(Capture.id), col(Capture.patient_id), col(Capture.side)).where(col(Capture.id).in_(capture_ids))
    )
    return {row[0]: (row[1], row[2]) for row in rows}


def behind(db: Session, patient_ids: Collection[int], order_ids: Collection[int]) -> tuple[list[int], list[int]]:
    """Every capture of these wearers, void ones too, and the arrivals that were matched to these orders."""
    theirs = select(col(Capture.id)).where(col(Capture.patient_id).in_(patient_ids))
    came = select(col(Arrival.id)).where(col(Arrival.order_id).in_(order_ids))
    return list(db.execute(theirs).scalars()), list(db.execute(came).scalars())
