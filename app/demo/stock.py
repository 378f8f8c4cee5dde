"""The demo lab's materials, all invented, and the lots that its bulk pairs were made from."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import insert, select
from sqlmodel import Session, col

from app.bench import queries
from app.bench.queries import MaterialRow, lot_t, order_t, pair_t, use_t
from app.bench.rules.materials import KINDS, NOTED_AT, fits, number_key
from app.bench.rules.stages import STAGES
from app.bench.tables import Move
from app.orders.tables import Prescription

LAST_MONTHS = timedelta(days=120)


@dataclass(frozen=True)
class Shelf:
    """A material and the lot of it that the stories use; `good_for` days from now, 0 for ever."""

    kind: str
    name: str
    number: str
    stock: int
    per_side: str
    unit: str = "sheet"
    material: str = ""
    thickness: str = ""
    low: str = ""
    size: tuple[str, str] = ("", "")
    good_for: int = 0

    def typed(self) -> dict[str, str]:
        names = ("kind", "name", "per_side", "unit", "material", "thickness", "low")
        return {name: getattr(self, name) for name in names} | dict(
            zip(("width_mm", "length_mm"), self.size, strict=True)
        )


_HALF_A_METRE = ("500", "1000")


def _sheet(name: str, number: str, material: str, thickness: str, low: str = "", stock: int = 60) -> Shelf:
    words = f"{name} {thickness} mm"
    size = _HALF_A_METRE
    return Shelf("sheet", words, number, stock, "0.1", material=material, thickness=thickness, low=low, size=size)


def _cover(name: str, number: str, stock: int, material: str, thickness: str, low: str = "") -> Shelf:
    return Shelf(
        "cover", f"{name} {thickness} mm", number, stock, "0.1", material=material, thickness=thickness, low=low
    )


SHELF = (
    Shelf("plaster", "Plaster, medium", "GP-0914", 250_000, "900", "g", low="25000", good_for=150),
    _sheet("Polypropylene", "PP30-711", "polypropylene", "3"),
    _sheet("Polypropylene", "PP40-723", "polypropylene", "4", low="5", stock=4),
    _sheet("Polypropylene", "PP45-705", "polypropylene", "4.5"),
    _sheet("Copolymer", "CP40-119", "copolymer", "4"),
    _sheet("Copolymer", "CP48-102", "copolymer", "4.8"),
    _sheet("EVA", "EV120-66", "eva", "12"),
    _cover("EVA", "EC20-431", 40, "eva", "2"),
    _cover("EVA", "EC30-448", 40, "eva", "3", low="4"),
    _cover("Leather", "", 0, "leather", "1.5"),
    _cover("Closed-cell foam", "CF20-090", 2, "foam", "2", low="3"),
    Shelf("adhesive", "Contact adhesive", "K-2198", 5_000, "15", "ml", low="500", good_for=90),
)


IN_USE = ("Plaster, medium", "Polypropylene 4 mm", "EVA 3 mm")
"""Materials of which a lot is in use."""


def note_lots(db: Session, until: datetime) -> None:
    """Lots of the last months in the pairs that were written in bulk, one of each material and since used up.

    A side that was sent back and made again has the earlier ones as scrapped, as the acts would have it.
    """
    shelves = queries.materials(db)
    lots = {each.id: _used_up(db, each, until) for each in shelves}
    uses: list[dict[str, Any]] = []
    for move in _moves(db, until):
        if move.act == "send_back":
            _scrap(uses, move)
            continue
        for shelf in (each for each in shelves if KINDS[each.kind].stage == move.from_stage):
            for side in move.sides:
                if fits(shelf.kind, shelf.material, shelf.thickness, move.body.get(side, {})):
                    uses.append(_use(lots[shelf.id], shelf, move, side))
    if uses:
        db.execute(insert(use_t), uses)


def _used_up(db: Session, material: MaterialRow, until: datetime) -> int:
    number = f"{material.name[:2].upper()}-{material.id:02}A"
    came = (until - LAST_MONTHS).date()
    row = {"material_id": material.id, "number": number, "number_key": number_key(number), "received_on": came}
    made: int = db.execute(insert(lot_t).values(**row, stock=0, held=False).returning(lot_t.c.id)).scalar_one()
    return made


def _moves(db: Session, until: datetime) -> Iterator[Any]:
    """What pours, presses and covers, and what sends back, of pairs in which no lot was noted; in the order of time."""
    move = Move.metadata.tables["move"].c
    query = (
        select(move.id, move.pair_id, move.act, move.from_stage, move.to_stage, move.sides, move.staff_id, move.done_at)
        .add_columns(col(Prescription.body))
        .join(pair_t, pair_t.c.id == move.pair_id)
        .join(order_t, order_t.c.id == pair_t.c.order_id)
        .join(Prescription, (col(Prescription.order_id) == order_t.c.id) & (col(Prescription.number) == 1))
        .where(
            move.act.in_(("advance", "send_back")),
            move.from_stage.in_(NOTED_AT) | (move.act == "send_back"),
            move.at > until - LAST_MONTHS,
            move.pair_id.not_in(select(use_t.c.pair_id)),
        )
        .order_by(move.id)
    )
    return iter(db.execute(query).all())


def _use(lot: int, of: MaterialRow, move: Any, side: str) -> dict[str, Any]:
    return {
        "lot_id": lot,
        "pair_id": move.pair_id,
        "side": side,
        "stage": move.from_stage,
        "move_id": move.id,
        "amount": of.per_side,
        "at": move.done_at,
        "staff_id": move.staff_id,
        "scrapped_at": None,
        "scrapped_by": None,
    }


def _scrap(uses: list[dict[str, Any]], move: Any) -> None:
    order = list(STAGES)
    for use in uses:
        mine = use["pair_id"] == move.pair_id and use["side"] in move.sides and use["scrapped_at"] is None
        if mine and order.index(use["stage"]) >= order.index(move.to_stage):
            use |= {"scrapped_at": move.done_at, "scrapped_by": move.id}
