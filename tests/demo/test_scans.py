"""The demo has scans to look at: with their files in the store, and one pair that still waits for its own."""

from pathlib import Path

import pytest
from sqlmodel import col, select

from app.bench.tables import Pair
from app.capture import queries as captures
from app.database import Database
from app.demo import volume
from app.demo.actions import open_lab
from app.demo.scans import PAIRS, add_scans
from app.storage import Storage


@pytest.mark.anywhere
def test_a_handful_of_open_pairs_have_their_scans(database: Database, tmp_path: Path) -> None:
    with database.writing() as db:
        open_lab(db)
    storage = Storage(tmp_path / "files")
    volume.fill_demo(database, storage, finished=20)
    with database.writing() as db:
        add_scans(db, storage)
    with database.reading() as db:
        pairs = db.exec(select(Pair).where(col(Pair.stage).is_not(None))).all()
        scans = {pair.code: captures.scans_of_order(db, pair.order_id) for pair in pairs}
        shown = {pair.code: captures.of_order(db, pair.order_id) for pair in pairs}
    with_scans = {code: found for code, found in scans.items() if found}
    assert len(with_scans) == PAIRS
    for code, found in with_scans.items():
        assert set(found) == {row.side for row in shown[code] if row.kind == "scan"}, "each foot that was scanned"
        assert all(storage.read(scan.file_key)[80:84] for scan in found.values())
        assert all(row.state in ("arrived", "accepted") for row in shown[code])
