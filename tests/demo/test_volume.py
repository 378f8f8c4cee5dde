"""Pairs for measuring come by number, years and seed, and stand up to the real thing like the demo's."""

from sqlmodel import col, func, select

from app import clock
from app.bench import queries
from app.bench.rules.replay import replay
from app.bench.tables import Move, Pair
from app.database import Database
from app.demo import volume
from app.demo.actions import open_lab
from app.orders.tables import Order


def test_volume_is_made_by_number_years_and_seed(database: Database) -> None:
    with database.writing() as db:
        open_lab(db)
    volume.seed(database, pairs=40, years=0.5, seed=7)
    with database.reading() as db:
        acts = db.exec(select(func.count()).select_from(Move)).one()
        pairs = db.exec(select(Pair).order_by(col(Pair.code))).all()
        ordered = db.exec(select(Order.ordered_at).join(Pair).order_by(col(Pair.code))).all()
        walks = [(pair, replay(queries.steps(db, pair.id))) for pair in pairs]
    assert len(pairs) == 40
    assert acts > 300
    assert ordered == sorted(ordered)
    assert (clock.now() - ordered[0]).days > 120
    assert all((walk.stage, walk.end) == (pair.stage, pair.end) for pair, walk in walks)
    assert {pair.end is None for pair in pairs} == {True, False}
