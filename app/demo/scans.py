"""Scan files for a handful of the demo's open pairs, so that measures and cautions can be looked at."""

from pathlib import Path

from sqlmodel import Session, col, select

from app.bench.tables import Pair
from app.capture import actions as capture
from app.capture import queries as captures
from app.capture.reading.scans import ScanFile
from app.capture.tables import Capture, Scan, WorkedFrom
from app.orders.tables import Order
from app.people.rules import Role, Viewer
from app.storage import Storage
from app.trade import footmesh

FEET = Path(__file__).parent / "feet"
SIZES = ("adult", "small")
SIDES = {"L": "left", "R": "right"}
PAIRS = 11


def add_scans(db: Session, storage: Storage) -> None:
    """The last pair to check in that is worked from scans stays without, so that its files can be added."""
    files = {(size, side): _file(f"{size}-{word}.stl") for size in SIZES for side, word in SIDES.items()}
    waiting = select(Pair.order_id).where(Pair.stage == "check_in").order_by(col(Pair.id).desc())
    scanned = select(WorkedFrom.order_id).join(Capture).where(Capture.kind == "scan")
    order_ids = list(db.exec(waiting.where(col(Pair.order_id).in_(scanned))))[1:]
    others = select(Pair.order_id).where(col(Pair.stage).is_not(None), Pair.stage != "check_in")
    pour_first = (col(Pair.stage) != "pour", col(Pair.id).desc())
    order_ids += db.exec(others.where(col(Pair.order_id).in_(scanned)).order_by(*pour_first)).all()
    for number, order_id in enumerate(order_ids[:PAIRS]):
        order = db.get_one(Order, order_id)
        by = Viewer(order.prescriber_id, "", frozenset({Role.CLINICIAN}), frozenset({order.clinic_id}), "UTC")
        for side in (each.side for each in captures.of_order(db, order_id) if each.kind == "scan"):
            file = files[SIZES[number % len(SIZES)], side]
            capture.add_scan(db, storage, by=by, order_id=order_id, side=side, file=file)
    # Nothing of the demo's past may look as if it had been done today.
    for scan, arrived_at in db.exec(select(Scan, Capture.arrived_at).join(Capture)).all():
        scan.uploaded_at = arrived_at or scan.uploaded_at


def _file(name: str) -> ScanFile:
    content = (FEET / name).read_bytes()
    return ScanFile(content, footmesh.read(content, "stl"))
