"""How fast is a lot's page told from the database, against the same question in plain SQL?

The lot is in every fortieth pair that was pressed, as a sheet's would be in a lab that keeps to its lots.
"""

import sqlite3
import time
from collections.abc import Iterator
from statistics import median
from typing import Any

from app.bench import queries
from app.database import Database
from tests.speed import measured
from tests.speed.measured import Lab
from tests.speed.report import Line

TIMES = 30
MATERIAL = "INSERT INTO material (id, kind, name, unit, per_side, low) VALUES (1, 'adhesive', 'Glue', 'ml', 50, 0)"
USES = """
INSERT INTO lot_use (lot_id, pair_id, side, stage, move_id, amount, at, staff_id)
SELECT 1 + move.pair_id % 40, move.pair_id, side.value, 'press', move.id, 50, move.done_at, move.staff_id
FROM move JOIN json_each('["L", "R"]') AS side ON instr(move.sides, side.value)
WHERE move.act = 'advance' AND move.from_stage = 'press'
"""
RAW = """
SELECT pair.id, pair.code, pair.label, clinic.name, pair.stage, pair."end", lot_use.side, lot_use.stage, lot_use.at,
       lot_use.scrapped_at
FROM lot_use JOIN pair ON pair.id = lot_use.pair_id JOIN clinic ON clinic.id = pair.clinic_id
WHERE lot_use.lot_id = 1 ORDER BY lot_use.pair_id DESC
"""


def trace(lab: Lab) -> Iterator[Line]:
    with measured.copy_of(lab, "lots") as copy:
        found = _note(copy)
        with measured.opened(copy.file) as database:
            ours = [_ours(database) for _ in range(TIMES + 3)][3:]
        theirs = [_raw(copy) for _ in range(TIMES)]
    sides = {len(rows) for rows, _ in ours} | {len(rows) for rows, _ in theirs}
    if sides != {found}:
        raise SystemExit(f"The lot is in {found} sides; these were told: {sorted(sides)}.")
    mine, raw = median(taken for _, taken in ours), median(taken for _, taken in theirs)
    work = f"lot trace: a lot and all of its {found} sides among {lab.pairs} pairs"
    yield Line(work, f"{mine * 1000:.2f} ms", f"plain SQL {raw * 1000:.2f} ms", mine / raw, 3, most=True)


def _note(lab: Lab) -> int:
    """Forty lots in all the pairs that were pressed; returns the number of sides that the first is in."""
    with sqlite3.connect(lab.file) as db:
        db.execute(MATERIAL)
        db.executemany(
            "INSERT INTO lot (id, material_id, number, number_key, received_on, stock, held) "
            "VALUES (?, 1, ?, ?, '2026-01-05', 0, 0)",
            [(number, f"A {number}", f"A{number}") for number in range(1, 41)],
        )
        db.execute(USES)
        db.execute("ANALYZE lot_use")
        (found,) = db.execute("SELECT count(*) FROM lot_use WHERE lot_id = 1").fetchone()
    db.close()
    return int(found)


def _ours(database: Database) -> tuple[list[queries.UseRow], float]:
    """As the lot's page asks, but for every pair at once."""
    start = time.perf_counter()
    with database.reading() as db:
        rows, _ = queries.uses_of_lot(db, 1, pairs=1_000_000)
    return rows, time.perf_counter() - start


def _raw(lab: Lab) -> tuple[list[tuple[Any, ...]], float]:
    with sqlite3.connect(lab.file) as db:
        db.execute(
            "SELECT 1 FROM pair LIMIT 1"
        ).fetchone()  # the schema is read before the clock starts, as it is above
        start = time.perf_counter()
        rows = db.execute(RAW).fetchall()
        taken = time.perf_counter() - start
    db.close()
    return rows, taken
