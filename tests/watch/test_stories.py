"""What the rules notice in a lab at work: real acts, time that passes, and the flags that stand afterwards."""

import statistics
from collections import Counter
from datetime import timedelta

from hypothesis import given
from hypothesis import strategies as st
from sqlmodel import col, select, update

from app import clock
from app.bench import actions as bench
from app.bench.actions import belongings, parcels
from app.bench.tables import Stay
from app.capture import actions as capture
from app.fitting.tables import Recheck, Review
from app.people import queries as people
from app.people.tables import Lab
from app.turnaround.queries import percentile
from app.watch.queries import counts, of_pair
from app.watch.queries.promises import medians
from app.watch.rules.limits import Moment
from tests.bench.conftest import SIDE
from tests.watch.conftest import START, WatchedLab


def test_a_new_order_raises_nothing(lab: WatchedLab) -> None:
    code = lab.order()
    assert lab.kinds() == lab.kinds(code) == set()


def test_a_capture_that_does_not_come_is_missed_and_not_called_idleness(lab: WatchedLab) -> None:
    code = lab.order()
    lab.pass_days(6.99)
    assert lab.kinds() == set()
    lab.pass_days(0.02)
    assert lab.kinds(code) == {"capture_missing"}
    lab.act(code, "advance")
    assert lab.kinds(code) == set()


def test_a_box_that_belongs_to_nobody_waits_half_a_day(lab: WatchedLab) -> None:
    with lab.database.writing() as db:
        technician = lab.house.viewer("technician")
        arrival = capture.log_arrival(db, by=technician, kind="foam", sides="LR").id
    assert lab.kinds() == set()
    lab.pass_days(4 / 24)
    assert lab.kinds() == {"arrival_unmatched"}
    with lab.database.writing() as db:
        capture.return_arrival(db, by=technician, arrival_id=arrival)
    assert lab.kinds() == set()


def test_a_pair_that_nobody_touches_is_noticed_until_someone_does(lab: WatchedLab) -> None:
    code = lab.order()
    lab.walk(code, "press")
    lab.pass_days(3)
    assert lab.kinds(code) == {"no_move"}
    lab.record_starts()
    lab.act(code, "start")
    assert lab.kinds(code) == set()


def test_a_parked_pair_is_told_by_whom_it_waits_on(lab: WatchedLab) -> None:
    code = lab.order()
    lab.walk(code, "press")
    lab.act(code, "park", reason="material", waiting_on="supplier")
    lab.pass_days(3)
    assert lab.kinds(code) == set(), "a supplier has five working days, and a parked pair is not idle"
    lab.pass_days(4)
    (flag,) = [each.flag for each in lab.raised(code)]
    assert (flag.kind, flag.what) == ("parked_long", "Parked, waiting on the supplier.")
    lab.act(code, "resume")
    assert lab.kinds(code) == set()


def test_a_prescription_that_changes_on_the_bench_is_flagged_at_once(lab: WatchedLab) -> None:
    code = lab.order()
    lab.walk(code, "press")
    with lab.database.writing() as db:
        thicker = SIDE | {"shell_thickness": 45}
        bench.amend(db, code=code, by=lab.house.viewer("clinician"), body={"L": thicker, "R": thicker})
    assert lab.kinds(code) == {"prescription_changed"}
    lab.act(code, "resume")
    assert lab.kinds(code) == set()


def test_a_parcel_that_does_not_arrive_is_missed_with_its_carrier(lab: WatchedLab) -> None:
    code = lab.order(by="quay clinician", clinic="quay")
    lab.walk(code, "send", "quay clinician")
    with lab.database.writing() as db:
        clinic = lab.house.clinics["quay"]
        sent = parcels.send(
            db, by=lab.house.viewer("technician"), clinic_id=clinic, codes=[code], carrier="the van", tracking="V 7"
        )
        parcel_id = sent.id
    lab.pass_days(1)
    assert lab.kinds(code) == set(), "one working day is usual, one more is allowed"
    lab.pass_days(1)
    (flag,) = [each.flag for each in lab.raised(code)]
    assert flag.kind == "sent_not_received"
    assert "(the van V 7)" in flag.do
    with lab.database.writing() as db:
        parcels.receive(db, by=lab.house.viewer("quay clinician"), parcel_id=parcel_id, exceptions={code: "missing"})
    assert lab.kinds(code) == set(), "it is parked now and waits on the lab, which has a day"
    lab.pass_days(1)
    assert lab.kinds(code) == {"parked_long"}


def test_a_pair_sent_back_twice_in_a_visit_is_worth_a_look_but_a_slip_is_not(lab: WatchedLab) -> None:
    code = lab.order()
    for reason in ("cracked", "booked_by_mistake"):
        lab.walk(code, "cover")
        lab.act(code, "send_back", sides="LR", to_stage="press", reason=reason)
    lab.walk(code, "cover")
    lab.act(code, "send_back", sides="LR", to_stage="press", reason="shape")
    assert lab.kinds(code) == {"sent_back_often"}
    lab.act(code, "take_back")
    assert lab.kinds(code) == set(), "taken back, it never happened"


def test_a_promised_day_is_first_at_risk_and_then_passed(lab: WatchedLab) -> None:
    """Five pairs that each took nine hours at every bench make the usual pace."""
    for number in range(5):
        lab.walk(lab.order(label=f"P {number}"), "dispense")
    with lab.database.writing() as db:
        db.exec(update(Stay).values(minutes=540).where(col(Stay.stage).in_(("pour", "press", "cover", "trim"))))
    code = lab.order(label="Q 1")
    lab.act(code, "advance")
    promised = lab.row(code)["promised_on"]
    assert promised == (START + timedelta(days=14)).date(), "ten working days"
    assert lab.kinds(code) == set()
    thursday = START + timedelta(days=10, hours=-1)
    lab.at_time(thursday - timedelta(minutes=1))
    assert lab.kinds(code) == {"no_move"}, "press, cover and trim are 27 h; Thursday, Friday and Monday are, too"
    lab.at_time(thursday + timedelta(minutes=1))
    assert lab.kinds(code) == {"no_move", "promise_at_risk"}
    lab.at_time(START + timedelta(days=15))
    assert lab.kinds(code) == {"no_move", "promise_passed"}
    lab.act(code, "promise", by="manager", reason="plaster came late", facts={"day": "2027-02-05"})
    assert lab.kinds(code) == set()


def test_a_stage_without_enough_stays_has_no_usual_time(lab: WatchedLab) -> None:
    for number in range(2):
        lab.walk(lab.order(label=f"P {number}"), "cover")
    with lab.database.reading() as db:
        at = Moment(clock.now(), people.work_calendar(db))
        assert medians(db, at) == {}, "two pairs are four stays, one fewer than wanted"
    lab.walk(lab.order(label="P 9", sides="L"), "cover")
    with lab.database.writing() as db:
        db.exec(update(Stay).values(minutes=Stay.move_id))
        at = Moment(clock.now(), people.work_calendar(db))
        usual = medians(db, at)
        by_stage: dict[str, list[int]] = {}
        for stage, minutes in db.execute(select(col(Stay.stage), col(Stay.minutes))):
            by_stage.setdefault(stage, []).append(minutes)
    assert usual == {stage: statistics.median(each) for stage, each in by_stage.items()}
    assert set(usual) == {"check_in", "pour", "press"}


@given(st.lists(st.integers(0, 50), min_size=1))
def test_the_median_of_counted_values_is_the_library_s(values: list[int]) -> None:
    """The outside value: Python's own statistics module."""
    assert percentile(sorted(Counter(values).items()), 50) == statistics.median(values)


def test_a_fitting_before_the_promised_day_is_seen_when_it_is_booked(lab: WatchedLab) -> None:
    code = lab.order()
    lab.act(code, "advance")
    lab.act(code, "book", by="clinician", facts={"at": "2027-01-20T10:00", "what": "fitting"})
    assert lab.kinds(code) == {"appointment_early"}
    lab.act(code, "book", by="clinician", facts={"at": "2027-01-25T10:00", "what": "fitting"})
    assert lab.kinds(code) == set()


def test_a_ready_pair_is_told_then_booked_then_collected(lab: WatchedLab) -> None:
    code = lab.ready()
    lab.pass_days(1)
    assert lab.kinds(code) == {"ready_not_told"}
    lab.act(code, "tell", by="clinician", facts={"how": "telephone", "who": "wearer"})
    assert lab.kinds(code) == set()
    lab.pass_days(7)
    assert lab.kinds(code) == {"told_no_appointment"}
    lab.act(code, "book", by="clinician", facts={"at": "2027-01-20T10:00", "what": "fitting"})
    assert lab.kinds(code) == set()
    lab.at_time(START + timedelta(days=28, minutes=1))
    assert lab.kinds(code) == {"told_no_appointment", "not_collected"}


def test_a_review_that_is_not_held_is_overdue_after_three_days(lab: WatchedLab) -> None:
    code = lab.worn()
    lab.at_time(START + timedelta(days=16))
    assert lab.kinds(code) == set(), "the review was due two weeks after Monday 11 January"
    lab.pass_days(1)
    assert lab.kinds(code) == {"review_overdue"}
    lab.act(code, "keep_wearing", by="clinician")
    assert lab.kinds(code) == set()


def test_a_pair_without_a_review_is_noticed_the_next_day(lab: WatchedLab) -> None:
    code = lab.worn()
    with lab.database.writing() as db:
        db.exec(update(Review).values(state="void"))
    lab.pass_days(1)
    assert lab.kinds(code) == {"review_not_set"}


def test_a_child_s_recheck_is_watched_beside_the_reviews_and_after_the_end(lab: WatchedLab) -> None:
    code = lab.worn(wearer={"born_year": 2018})
    lab.act(code, "settle", by="clinician")
    assert lab.kinds(code) == set()
    lab.pass_days(120)
    assert lab.kinds(code) == {"recheck_overdue"}


def test_a_wearer_at_high_risk_has_to_have_rechecks(lab: WatchedLab) -> None:
    code = lab.worn(wearer={"risks": ["diabetes"]})
    with lab.database.writing() as db:
        db.exec(update(Recheck).values(state="void"))
    lab.pass_days(7)
    assert lab.kinds(code) == {"recheck_not_set"}


def test_an_early_wish_waits_and_a_red_flag_does_not(lab: WatchedLab) -> None:
    code = lab.worn()
    lab.pass_days(3)
    lab.act(code, "note_request", by="clinician", reason="the arch presses a little")
    assert lab.kinds(code) == {"adjustment_early"}
    lab.act(code, "note_request", by="clinician", reason="my toes go to sleep", facts={"red_flags": ["numbness"]})
    (flag,) = [each.flag for each in lab.raised(code)]
    assert (flag.kind, flag.what) == ("red_flag", "Reported: numbness or tingling.")
    adjusted = {"where": "here", "zones": [{"side": "L", "zone": "medial_arch", "what": "lowered"}]}
    lab.act(code, "adjust", by="clinician", sides="L", facts=adjusted)
    assert lab.kinds(code) == set()


def test_a_second_adjustment_makes_one_think_of_a_remake(lab: WatchedLab) -> None:
    code = lab.worn()
    adjusted = {"where": "here", "zones": [{"side": "L", "zone": "medial_arch", "what": "lowered"}]}
    for _ in range(2):
        assert "second_adjustment" not in lab.kinds(code)
        lab.pass_days(14)
        lab.act(code, "adjust", by="clinician", sides="L", facts=adjusted)
    assert lab.kinds(code) == {"second_adjustment"}


def test_shoes_that_nobody_accounts_for_are_asked_for_after_the_end(lab: WatchedLab) -> None:
    code = lab.order()
    lab.act(code, "advance", facts={"belongings": ["shoes"]})
    lab.act(code, "withdraw", by="clinician", reason="moved away", facts={"code": code})
    lab.pass_days(1)
    assert lab.kinds(code) == set()
    lab.pass_days(1)
    (flag,) = [each.flag for each in lab.raised(code)]
    assert (flag.kind, flag.what) == ("belongings_open", "Not accounted for: the shoes.")
    with lab.database.writing() as db:
        belongings.settle(db, code=code, belonging_id=1, becomes="to_clinic", by=lab.house.viewer("technician"))
    assert lab.kinds(code) == set()


def test_shoes_missing_from_a_parcel_are_looked_for_at_once(lab: WatchedLab) -> None:
    code = lab.order(by="quay clinician", clinic="quay")
    lab.act(code, "advance", facts={"belongings": ["shoes", "liners"]})
    lab.walk(code, "send")
    with lab.database.writing() as db:
        clinic_id, by = lab.house.clinics["quay"], lab.house.viewer("technician")
        parcel = parcels.send(db, by=by, clinic_id=clinic_id, codes=[code], belongings=[1, 2])
        parcel_id = parcel.id
    assert lab.kinds(code) == set()
    clinician = lab.house.viewer("quay clinician")
    with lab.database.writing() as db:
        parcels.receive(db, by=clinician, parcel_id=parcel_id, exceptions={}, belongings={1: "missing"})
    (flag,) = [each.flag for each in lab.raised(code) if each.flag.kind == "belongings_open"]
    assert flag.what == "Not accounted for: the shoes."
    assert flag.why.startswith("It was missing from its parcel since ")
    with lab.database.writing() as db:
        belongings.settle(db, code=code, belonging_id=1, becomes="back", by=clinician)
    assert "belongings_open" not in lab.kinds(code), "found again"


def test_a_lab_s_own_limit_holds_in_place_of_the_default(lab: WatchedLab) -> None:
    code = lab.ready()
    with lab.database.writing() as db:
        db.exec(update(Lab).values(limits={"ready_days": 2}))
    lab.pass_days(1)
    assert lab.kinds(code) == set()
    lab.pass_days(1)
    assert lab.kinds(code) == {"ready_not_told"}


def test_desks_get_counts_by_kind_for_their_clinics(lab: WatchedLab) -> None:
    lab.ready(label="A 1")
    lab.ready(label="A 2")
    lab.ready("quay clinician", clinic="quay", label="A 3")
    lab.pass_days(1)
    with lab.database.reading() as db:
        assert counts(db, None) == {"ready_not_told": 3}
        assert counts(db, {lab.house.clinics["house"]}) == {"ready_not_told": 2}
        assert counts(db, {lab.house.clinics["trims"]}) == {}


def test_a_pair_s_page_gets_the_flags_that_are_for_who_looks_at_it(lab: WatchedLab) -> None:
    code = lab.worn()
    lab.act(code, "note_request", by="clinician", reason="numb toes", facts={"red_flags": ["numbness"]})
    pair_id = lab.row(code)["id"]
    with lab.database.reading() as db:
        assert [flag.kind for flag in of_pair(db, pair_id)] == ["red_flag"]
        assert [flag.kind for flag in of_pair(db, pair_id, lab.house.viewer("clinician"))] == ["red_flag"]
        assert of_pair(db, pair_id, lab.house.viewer("technician")) == []
