"""Foretelling when each open pair is at its clinic: read in peace, worked out in no transaction, written at once."""

from datetime import date
from typing import Any

from sqlalchemy import delete, insert
from sqlmodel import Session, SQLModel

from app import outbox
from app.database import Database
from app.people import queries as people
from app.turnaround.queries import forecast
from app.turnaround.queries import snapshot as taken
from app.turnaround.rules.forecast.kept import Kept, packed
from app.turnaround.rules.forecast.made import SEED, Foreseen, Made, NewOrder, kinds_of, make
from app.turnaround.rules.forecast.trusted import Learnt
from app.turnaround.tables import ForecastMade, OrderForecast, PairForecast

TOPIC = "make_forecasts"


def look_ahead(db: Session) -> int:
    """Has forecasts made; does nothing itself."""
    if people.is_set_up(db):
        outbox.put_once(db, TOPIC)
    return 0


def make_forecasts(database: Database) -> None:
    with database.reading() as db:
        kept = taken.kept(db)
        kinds = kinds_of([(clinic.by_parcel, clinic.trims) for clinic in people.clinics(db)])
        stages_on, learnt = frozenset(people.lab(db).stages_on), forecast.learnt(db)
    made = make(kept.snapshot, kinds, stages_on, learnt)
    with database.writing() as db:
        _store(db, kept, made, learnt)


def _store(db: Session, kept: Kept, made: Made, learnt: Learnt) -> None:
    """In the place of those of the last time."""
    snapshot = kept.snapshot
    rows: dict[type[SQLModel], list[dict[str, Any]]] = {
        PairForecast: [_pair_row(each, rank) for rank, each in enumerate(sorted(made.pairs, key=_urgency))],
        OrderForecast: [_order_row(each) for each in made.orders],
        ForecastMade: [
            {
                "id": 1,
                "made_at": snapshot.at,
                "seed": SEED,
                "runs": made.runs,
                "pairs": len(made.pairs),
                "stays": snapshot.known.stays,
                "thin": sorted({place for each in snapshot.standing for place in snapshot.thin(each)}),
                "snapshot": packed(kept),
                "learnt_from": max((curve.known for curve in learnt.values()), default=0),
            }
        ],
    }
    for table, values in rows.items():
        db.execute(delete(table))
        if values:
            db.execute(insert(table), values)


def _urgency(foreseen: Foreseen) -> tuple[bool, int, date, int]:
    """The least chance first; what is promised for no day, or of which too little is known, last."""
    unknown = foreseen.chance is None
    return unknown, foreseen.chance or 0, foreseen.pair.promised_on or date.max, foreseen.pair.pair_id


def _pair_row(foreseen: Foreseen, rank: int) -> dict[str, Any]:
    pair = foreseen.pair
    return {
        "pair_id": pair.pair_id,
        "rank": rank,
        "half_on": foreseen.half,
        "likely_on": foreseen.likely,
        "nearly_on": foreseen.nearly,
        "promised_on": pair.promised_on,
        "chance": foreseen.chance,
        "place": pair.passes[0],
        "costs": foreseen.costs,
        "costs_minutes": foreseen.costs_minutes,
        "standard": foreseen.standard,
    }


def _order_row(order: NewOrder) -> dict[str, Any]:
    return order.kind._asdict() | {"days": list(order.days), "missing": list(order.missing)}
