"""The demo's invented pairs stand up to the real thing: their log walked again leads to where they stand."""

from datetime import datetime

import pytest
from sqlmodel import col, func, select

from app.bench import queries
from app.bench.rules.replay import replay
from app.bench.rules.stages import STAGES, place_of
from app.bench.tables import Hold, Move, Pair, Stay
from app.database import Database
from app.demo import volume
from app.demo.actions import open_lab
from app.trade import codes


@pytest.fixture
def filled(database: Database) -> Database:
    with database.writing() as db:
        open_lab(db)
    volume.fill_demo(database, finished=60)
    return database


def test_every_invented_pair_s_log_leads_to_where_it_stands(filled: Database) -> None:
    with filled.reading() as db:
        pairs = db.exec(select(Pair)).all()
        for pair in pairs:
            walk = replay(queries.steps(db, pair.id))
            state = queries.find_by_id(db, pair.id).state
            assert (walk.sides, walk.end) == (dict(state.sides), pair.end)
            assert codes.parse(pair.code) == pair.code
            open_holds = db.exec(select(Hold.id).where(Hold.pair_id == pair.id, col(Hold.closed_by).is_(None))).all()
            assert set(walk.holds) == set(open_holds)
            if pair.stage:
                assert walk.since == {
                    side: since
                    for side, since in (("L", pair.left_since), ("R", pair.right_since))
                    if side in pair.all_sides
                }
                assert pair.place == place_of(pair.stage, state.route, state.terms)
            versions = db.exec(select(Move.version).where(Move.pair_id == pair.id).order_by(col(Move.id))).all()
            assert versions == list(range(1, pair.version + 1))
    assert len(pairs) > 100


def test_open_pairs_stand_at_every_stage_that_this_lab_has(filled: Database) -> None:
    with filled.reading() as db:
        stages = set(db.exec(select(Pair.stage).where(col(Pair.stage).is_not(None)).distinct()).all())
    assert stages >= set(STAGES) - {"prepare", "return", "mill", "carve"}


def test_no_move_lies_in_the_future_and_each_pair_s_follow_each_other(filled: Database) -> None:
    with filled.reading() as db:
        rows = db.execute(select(Move.pair_id, Move.at).order_by(col(Move.id))).all()
        longest = db.exec(select(func.max(Stay.minutes))).one()
    last: dict[int, datetime] = {}
    for pair_id, at in rows:
        assert pair_id not in last or last[pair_id] <= at
        last[pair_id] = at
    assert longest < 120 * 24 * 60


def test_the_lab_goes_on_after_the_invented_pairs(filled: Database) -> None:
    from app.bench import actions as bench
    from app.bench.rules.machine import Asked
    from app.people.rules import Role, Viewer

    with filled.writing() as db:
        pair = db.exec(select(Pair).where(Pair.stage == "pour", col(Pair.parked_on).is_(None))).first()
        assert pair is not None
        viewer = Viewer(1, "Tamsin Reed", frozenset({Role.TECHNICIAN}), frozenset(), "Europe/London")
        moved = bench.move(db, code=pair.code, asked=Asked("advance", "pour"), by=viewer)
    assert moved.state.stage in ("correct", "press")


def test_volume_is_made_by_number_years_and_seed(database: Database) -> None:
    with database.writing() as db:
        open_lab(db)
    volume.seed(database, pairs=20, years=0.5, seed=7)
    with database.reading() as db:
        acts = db.exec(select(func.count()).select_from(Move)).one()
        pairs = db.exec(select(func.count()).select_from(Pair)).one()
    assert pairs == 20
    assert acts > 150
