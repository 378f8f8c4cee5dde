"""The demo's year on any day: a pair at every stage, a flag of every kind, and logs that lead to where pairs stand."""

from collections import Counter
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session, col, func, select

from app import clock
from app.bench import actions as bench
from app.bench import queries
from app.bench.rules.acts import WAITING_ON
from app.bench.rules.machine import Asked
from app.bench.rules.replay import replay
from app.bench.rules.sheets import oven_load
from app.bench.rules.stages import STAGES, place_of
from app.bench.tables import Hold, Lot, LotUse, Move, Pair, Parcel, Stay
from app.capture.tables import Arrival, WorkedFrom
from app.database import Database
from app.demo import volume
from app.demo.actions import open_lab
from app.demo.scans import add_scans
from app.demo.stories.standing import BAREFOOT, IN_DEVICES
from app.fitting.queries import at_home, plans, stance
from app.fitting.rules.plan import recheck_kind
from app.fitting.rules.stance import KINDS as MEASURES
from app.fitting.rules.stance import figures
from app.fitting.tables import FootMeasure, Recheck, Review, WearingPlan
from app.orders.queries.drafts import drafts
from app.orders.queries.starts import starts
from app.orders.rules import is_child
from app.orders.tables import Order, Patient
from app.paperwork import queries as paperwork
from app.people import queries as people
from app.people.rules import Role, Viewer
from app.storage import Storage
from app.trade import codes
from app.watch import queries as watch
from app.watch.rules.kinds import KINDS

DAYS = {
    "a Monday before opening": datetime(2026, 11, 30, 7, tzinfo=UTC),
    "a Saturday": datetime(2026, 11, 28, 14, tzinfo=UTC),
    "the day after Christmas and a weekend": datetime(2026, 12, 29, 8, 5, tzinfo=UTC),
    "a night after Easter": datetime(2027, 3, 30, 2, tzinfo=UTC),
}
FIRST, *OTHERS = DAYS.values()
AN_AFTERNOON = datetime(2026, 11, 26, 15, 20, tzinfo=UTC)


def fill(database: Database, at: datetime, files: Path) -> None:
    clock.set_shift(at - clock.now())
    with database.writing() as db:
        open_lab(db)
    volume.fill_demo(database, Storage(files), finished=100)


@pytest.fixture(scope="module")
def filled(copies: Callable[[Path], Any], tmp_path_factory: pytest.TempPathFactory) -> Iterator[Database]:
    """One year for every story that only looks at it."""
    folder = tmp_path_factory.mktemp("year")
    with copies(folder) as copy:
        database = Database(copy())
        fill(database, AN_AFTERNOON, folder / "files")
        yield database
        database.close()


def pairs_of(db: Session) -> list[Pair]:
    return list(db.exec(select(Pair)))


@pytest.mark.parametrize("day", [FIRST, *(pytest.param(day, marks=pytest.mark.anywhere) for day in OTHERS)], ids=DAYS)
def test_on_any_day_every_kind_of_flag_stands_on_a_few_pairs(day: datetime, database: Database, tmp_path: Path) -> None:
    fill(database, day, tmp_path / "files")
    with database.reading() as db:
        number = Counter(each.flag.kind for each in watch.raised(db))
        pour, oven = (paperwork.batch(db, kind, [], day.date()) for kind in ("pour", "oven"))
        open_pairs = [pair for pair in pairs_of(db) if pair.stage]
        last = db.exec(select(func.max(Move.at))).one()
    assert set(number) == set(KINDS)
    assert max(number.values()) <= 6
    assert 25 <= number.total() <= 45
    assert {pair.stage for pair in open_pairs} == set(STAGES)
    assert 75 <= len(open_pairs) <= 95
    assert last <= clock.now(), "the clock is back where it was, and nothing lies in the future"
    assert len({row.code for row in pour.rows}) == 12
    groups = {group.words: group for group in oven_load(oven.rows, oven.settings, oven.stock)}
    assert len(groups) >= 3
    usual = groups["polypropylene 4.0\u00a0mm"].cuts
    assert (usual[0].sheet, len(usual)) == ("lot PP40-723, 1000 × 500\u00a0mm", 2), "the lot in use first"
    assert not any(group.left_over for group in groups.values())


def test_every_pair_s_log_leads_to_where_it_stands(filled: Database) -> None:
    with filled.reading() as db:
        pairs = pairs_of(db)
        for pair in pairs:
            walk = replay(queries.steps(db, pair.id))
            state = queries.find_by_id(db, pair.id).state
            assert (walk.sides, walk.end) == (dict(state.sides), pair.end)
            assert codes.parse(pair.code) == pair.code
            open_holds = db.exec(select(Hold.id).where(Hold.pair_id == pair.id, col(Hold.closed_by).is_(None))).all()
            assert set(walk.holds) == set(open_holds)
            if pair.stage:
                since = {"L": pair.left_since, "R": pair.right_since}
                assert walk.since == {side: since[side] for side in pair.all_sides}
                came_back = pair.stage == "check_in" and "return" in state.route and pair.place == "lab"
                assert came_back or pair.place == place_of(pair.stage, state.route, state.terms)
            versions = db.exec(select(Move.version).where(Move.pair_id == pair.id).order_by(col(Move.id))).all()
            assert versions == list(range(1, pair.version + 1))
    assert len(pairs) > 150


def test_codes_are_given_in_the_order_of_the_orders(filled: Database) -> None:
    with filled.reading() as db:
        ordered = db.exec(select(Order.ordered_at).join(Pair).order_by(col(Pair.code))).all()
    assert ordered == sorted(ordered)


def test_each_pair_s_moves_follow_each_other_and_no_stay_is_absurd(filled: Database) -> None:
    with filled.reading() as db:
        rows = db.execute(select(Move.pair_id, Move.at).order_by(col(Move.id))).all()
        longest = db.exec(select(func.max(Stay.minutes))).one()
    last: dict[int, datetime] = {}
    for pair_id, at in rows:
        assert last.get(pair_id, at) <= at
        last[pair_id] = at
    assert longest < 120 * 24 * 60


def test_somebody_is_waited_for_at_every_party_and_boxes_wait_both_ways(filled: Database) -> None:
    with filled.reading() as db:
        parties = set(db.exec(select(Hold.waiting_on).where(col(Hold.closed_by).is_(None))))
        under_way = set(db.exec(select(Parcel.to_clinic).where(col(Parcel.received_at).is_(None))))
        unmatched = db.exec(select(Arrival).where(col(Arrival.settled_at).is_(None))).all()
    assert parties == set(WAITING_ON)
    assert under_way == {True, False}
    assert {arrival.sides for arrival in unmatched} == {"L", "R", "LR"}
    assert {arrival.damaged for arrival in unmatched} == {True, False}


def test_wearers_at_high_risk_and_children_have_their_two_rechecks_and_nobody_else(filled: Database) -> None:
    with filled.reading() as db:
        rows = db.exec(
            select(col(Pair.id), col(WearingPlan.from_day), Patient)
            .join(Order, col(Order.id) == col(Pair.order_id))
            .join(Patient)
            .join(WearingPlan, col(WearingPlan.pair_id) == col(Pair.id))
        ).all()
        set_for = Counter(db.exec(select(Recheck.pair_id)))
        states = Counter(db.exec(select(Recheck.state)))
    first = {pair_id: (day, patient) for pair_id, day, patient in sorted(rows, key=lambda row: row[1], reverse=True)}
    needed = {
        pair_id
        for pair_id, (day, patient) in first.items()
        if recheck_kind(patient.risks, is_child(None, patient.born_year, day))
    }
    assert set(set_for) <= needed
    assert len(needed - set(set_for)) == 1, "the one whose diabetes was found later"
    assert set(set_for.values()) == {2}
    assert min(states["held"], states["open"]) >= 5


def test_whoever_is_settled_tells_of_more_comfort_than_whoever_is_adjusted(filled: Database) -> None:
    with filled.reading() as db:
        held = db.exec(select(Review).where(Review.state == "held")).all()
    comfort = {
        outcome: [review.comfort or 0 for review in held if review.outcome == outcome]
        for outcome in ("settle", "adjust_here")
    }
    assert all(0 <= (review.pain_relief or 0) <= 100 for review in held)
    mean = {outcome: sum(told) / len(told) for outcome, told in comfort.items()}
    assert mean["settle"] > mean["adjust_here"] + 1


def test_lots_are_in_the_pairs_of_the_last_months_one_is_held_and_its_clinics_are_to_tell(filled: Database) -> None:
    with filled.reading() as db:
        used = db.exec(select(LotUse).where(col(LotUse.scrapped_at).is_(None))).all()
        scrapped = db.exec(select(LotUse).where(col(LotUse.scrapped_at).is_not(None))).all()
        held = db.exec(select(Lot).where(Lot.held)).one()
        clinics = {each.clinic: each for each in queries.notices(db, clinics={each.id for each in people.clinics(db)})}
        parked = db.exec(select(Pair.parked_on).join(LotUse).where(LotUse.lot_id == held.id)).all()
        sides = {use.pair_id: db.get_one(Pair, use.pair_id).all_sides for use in used}
    assert len({use.pair_id for use in used}) > 60
    assert scrapped
    assert all(use.side in sides[use.pair_id] for use in used)
    assert set(clinics) == {"Gull Lane", "Upper Quay"}
    assert set(parked) == {"lab"}


def test_the_casts_to_pour_are_of_every_sort_and_lots_are_in_use(filled: Database, tmp_path: Path) -> None:
    with filled.writing() as db:
        add_scans(db, Storage(tmp_path / "files"))
    with filled.reading() as db:
        rows = paperwork.batch(db, "pour", [], AN_AFTERNOON.date()).rows
        in_use = {lot.kind: lot for lot in queries.in_use(db)}
    measured = {row.code for row in rows if row.cm3 and not row.error_percent}
    estimated = {row.code for row in rows if row.error_percent}
    assert (len(measured), len(measured & estimated)) == (3, 1), "one of them by its scan on one side alone"
    assert len(estimated - measured) >= 5
    assert len({row.code for row in rows if row.cm3 is None}) == 1
    assert any(row.platform_mm for row in rows)
    assert 1 in Counter(row.code for row in rows).values(), "one foot alone"
    assert in_use.keys() == {"plaster", "sheet", "cover", "adhesive"}
    assert {kind for kind, lot in in_use.items() if lot.held} == {"adhesive"}, "nobody has put it away yet"


def clinician_of(db: Session, clinic: str) -> Viewer:
    """Who is a clinician of this clinic and nothing else."""
    clinic_id = next(each.id for each in people.clinics(db) if each.name == clinic)
    found = next(row for row in people.staff(db) if row.roles == [Role.CLINICIAN] and clinic_id in row.clinics)
    return Viewer(found.id, found.name, frozenset({Role.CLINICIAN}), frozenset({clinic_id}), "Europe/London")


def test_the_clinic_in_the_house_shows_what_a_clinic_keeps_beside_its_pairs(filled: Database) -> None:
    clock.set_shift(AN_AFTERNOON - clock.now())
    with filled.reading() as db:
        clinician = clinician_of(db, "Harbour Steps")
        begun, to_start = drafts(db, clinician), starts(db, clinician)
        own = plans.to_choose(db, min(clinician.clinics))
        red = at_home.red_flagged(db, clinician.clinics)
        worn_by = db.exec(select(WearingPlan.plan).join(Pair).where(col(Pair.code).in_(red))).all()
        dues = db.exec(select(Order.dues).join(Pair).where(col(Pair.stage).is_not(None))).all()
        asked = db.exec(select(Pair.stage, Hold.before).join(Hold).where(col(Hold.before).is_not(None))).all()
    assert [draft.label for draft in begun] == ["HW 2044"]
    assert Counter(start.clinic_id is None for start in to_start) == {True: 1, False: 1}
    assert len(red) == 1
    assert list(worn_by) == list(own)
    assert Counter(each["approval"] for each in dues if each) == {"asked": 2, "given": 1}
    assert list(asked) == [("correct", "cover")], "it goes on until then"


def test_a_wearer_has_a_second_pair_and_another_was_measured_standing(filled: Database) -> None:
    with filled.reading() as db:
        shelved = db.exec(select(WorkedFrom.positive_id).where(col(WorkedFrom.positive_id).is_not(None))).all()
        both = select(WorkedFrom.positive_id).group_by(col(WorkedFrom.positive_id)).having(func.count() == 2)
        pressed_twice = db.exec(select(WorkedFrom.order_id).where(col(WorkedFrom.positive_id).in_(both))).all()
        rows = stance.measures(db, db.exec(select(FootMeasure.pair_id).distinct()).one())
    assert len(shelved) > 50, "positives stand on the shelf"
    assert len(set(pressed_twice)) == 2
    marked = [row for row in rows if row.photo_id]
    assert Counter(row.with_devices for row in marked) == {False: 2, True: 2}
    seen = {(row.side, row.with_devices): figures("angles", row.side, row.found)["heel_deg"] for row in marked}
    for (side, with_devices), heel in seen.items():
        assert heel == pytest.approx((IN_DEVICES if with_devices else BAREFOOT)[f"{side}.heel"], abs=0.4)
    assert {row.kind for row in rows} == set(MEASURES)
    assert len({row.day("Europe/London") for row in rows}) == 2, "and once more at the review"


def test_the_lab_goes_on_after_the_invented_pairs(filled: Database) -> None:
    clock.set_shift(AN_AFTERNOON - clock.now())
    viewer = Viewer(1, "Tamsin Reed", frozenset({Role.TECHNICIAN}), frozenset(), "Europe/London")
    with filled.writing() as db:
        pair = db.exec(select(Pair).where(Pair.stage == "pour", col(Pair.parked_on).is_(None))).first()
        assert pair is not None
        moved = bench.move(db, code=pair.code, asked=Asked("advance", "pour"), by=viewer)
    assert moved.state.stage == "correct"
