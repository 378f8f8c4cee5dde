"""What the bench's sheets are worked out from, and the ones that were printed."""

from collections.abc import Collection
from typing import Any, NamedTuple

from sqlalchemy import select
from sqlmodel import Session, col

from app.bench.queries.pairs import order_t, pair_t
from app.bench.rules.settings import BenchSettings, from_plain
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
        """The sides that have work at `stage`."""
        return "".join(side for side, at in (("L", self.left_stage), ("R", self.right_stage)) if at == stage)


_BATCH = select(*((pair_t if name in pair_t.c else order_t).c[name] for name in BatchRow._fields)).join(
    order_t, order_t.c.id == pair_t.c.order_id
)


def batch(db: Session, pair_codes: Collection[str]) -> list[BatchRow]:
    """These pairs in the order that they are named, for whoever sees the whole lab; what does not exist is left out."""
    found = {
        row.code: row for row in (BatchRow(*each) for each in db.execute(_BATCH.where(pair_t.c.code.in_(pair_codes))))
    }
    return [found[code] for code in pair_codes if code in found]


def bodies_of(db: Session, pair_ids: Collection[int]) -> dict[int, dict[str, dict[str, Any]]]:
    """The prescriptions in force of these pairs, by pair and side."""
    rows = db.execute(
        select(pair_t.c.id, col(Prescription.body))
        .join(Prescription, col(Prescription.order_id) == pair_t.c.order_id)
        .where(pair_t.c.id.in_(pair_ids))
        .order_by(col(Prescription.number))
    )
    return {row[0]: row[1] for row in rows}  # the last of a pair's is the one that holds


def printed_sheet(db: Session, number: int) -> PrintedSheet:
    sheet = db.get(PrintedSheet, number)
    if sheet is None:
        raise NotFound("There is no such sheet.")
    return sheet
