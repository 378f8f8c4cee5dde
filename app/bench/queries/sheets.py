"""What the bench's sheets are worked out from, and the ones that were printed."""

from collections.abc import Collection
from datetime import date
from typing import Any, NamedTuple

from sqlalchemy import bindparam, select
from sqlmodel import Session, col

from app.bench.queries.materials import lot_t, material_t
from app.bench.queries.pairs import order_t, pair_t
from app.bench.rules.cutting import StockSheet
from app.bench.rules.settings import BenchSettings, from_plain
from app.bench.rules.stages import working_at
from app.bench.tables import BenchSetup, PrintedSheet
from app.errors import NotFound
from app.orders.tables import Prescription


def bench_settings(db: Session) -> BenchSettings:
    """What the lab set for its bench, with the default for whatever it did not."""
    found = db.execute(select(col(BenchSetup.settings)).where(col(BenchSetup.id) == 1)).scalar()
    return from_plain(found or {})


class BatchRow(NamedTuple):
    code: str
    label: str
    all_sides: str
    stage: str | None
    left_stage: str | None
    right_stage: str | None
    order_id: int
    shoe: dict[str, Any]
    feet: dict[str, dict[str, int]]

    def working(self, stage: str) -> str:
        return working_at(stage, self.left_stage, self.right_stage)


_BATCH = select(*((pair_t if name in pair_t.c else order_t).c[name] for name in BatchRow._fields)).join(
    order_t, order_t.c.id == pair_t.c.order_id
)


def batch(db: Session, pair_codes: Collection[str]) -> list[BatchRow]:
    """These pairs in the order that they are named, for whoever sees the whole lab; what does not exist is left out."""
    found = {
        row.code: row for row in (BatchRow(*each) for each in db.execute(_BATCH.where(pair_t.c.code.in_(pair_codes))))
    }
    return [found[code] for code in pair_codes if code in found]


_BODIES = (
    select(pair_t.c.id, col(Prescription.body))
    .join(Prescription, col(Prescription.order_id) == pair_t.c.order_id)
    .where(pair_t.c.id.in_(bindparam("pairs", expanding=True)))
    .order_by(col(Prescription.number))
)


def bodies_of(db: Session, pair_ids: Collection[int]) -> dict[int, dict[str, dict[str, Any]]]:
    """The prescriptions in force of these pairs, by pair and side."""
    rows = db.execute(_BODIES, {"pairs": list(pair_ids)})
    return {row[0]: row[1] for row in rows}  # the last of a pair's is the one that holds


_WHOLE = lot_t.c.stock // 100
_STOCK = (
    select(*(material_t.c[name] for name in ("material", "thickness", "width_mm", "length_mm")), _WHOLE, lot_t.c.number)
    .join(material_t, material_t.c.id == lot_t.c.material_id)
    .where(
        material_t.c.kind == "sheet",
        material_t.c.unit.in_(("sheet", "piece")),
        material_t.c.width_mm.is_not(None),
        material_t.c.length_mm.is_not(None),
        lot_t.c.stock >= 100,
        lot_t.c.held.is_(False),
    )
    .order_by(lot_t.c.in_use_since.is_(None), lot_t.c.expires_on.is_(None), lot_t.c.expires_on, lot_t.c.id)
)


def sheets_in_stock(db: Session, today: date) -> list[StockSheet]:
    """Whole sheets that may be cut, of which the size is known: of the lots in use, then of what expires first."""
    good = lot_t.c.expires_on.is_(None) | (lot_t.c.expires_on >= today)
    return [
        StockSheet(material, thickness / 10, width, length, count, number)
        for material, thickness, width, length, count, number in db.execute(_STOCK.where(good))
    ]


def printed_sheet(db: Session, number: int) -> PrintedSheet:
    sheet = db.get(PrintedSheet, number)
    if sheet is None:
        raise NotFound("There is no such sheet.")
    return sheet
