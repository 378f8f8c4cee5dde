"""Acts on real pairs in a real database: what a person does, what is written, what is refused."""

import threading
from datetime import timedelta

import pytest
from sqlalchemy import text
from sqlmodel import col, select

from app import clock
from app.bench import actions as bench
from app.bench import queries
from app.bench.rules.machine import Asked
from app.bench.rules.replay import replay
from app.bench.tables import Hold, Move, Stay
from app.errors import BadInput, MovedOn, NotAllowed, NotFound, Unready
from app.journal.tables import Entry, Note
from tests.bench.conftest import SIDE, Lab


def test_a_cast_pair_walks_from_the_order_to_a_settled_wearer(lab: Lab) -> None:
    code = lab.order()
    for stage in ("check_in", "pour", "press", "cover", "trim"):
        assert lab.at(code).stage == stage
        lab.act(code, "advance")
    lab.act(code, "dispense", by="clinician")
    assert lab.at(code).stage == "wear_in"
    lab.act(code, "settle", by="clinician")
    assert lab.at(code).end == "settled"
    with lab.database.reading() as db:
        acts = [move.act for move in db.exec(select(Move).order_by(col(Move.id)))]
    assert acts == ["order", *["advance"] * 5, "dispense", "settle"]


def test_an_act_and_its_move_are_kept_together_or_not_at_all(lab: Lab) -> None:
    code = lab.order()
    before = lab.row(code)
    with pytest.raises(RuntimeError, match="power cut"), lab.database.writing() as db:
        asked = queries.find(db, code, lab.house.viewer("technician")).state
        bench.move(db, code=code, asked=Asked("advance", asked.stage), by=lab.house.viewer("technician"))
        raise RuntimeError("power cut")
    assert lab.row(code) == before
    with lab.database.reading() as db:
        assert [move.act for move in db.exec(select(Move))] == ["order"]


def test_of_two_people_on_one_pair_one_wins_and_the_other_is_told_where_it_is(lab: Lab) -> None:
    code = lab.order()
    lab.walk(code, "press")
    told: list[MovedOn] = []

    def press(who: str) -> None:
        try:
            lab.act(code, "advance", by=who, from_stage="press")
        except MovedOn as refusal:
            told.append(refusal)

    threads = [threading.Thread(target=press, args=(who,)) for who in ("technician", "second technician")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert lab.at(code).stage == "cover"
    assert len(told) == 1
    assert told[0].facts["stage"] == "cover"
    assert told[0].facts["moved_by"] in ("Technician", "Second technician")


def test_what_is_not_at_the_own_clinic_does_not_exist(lab: Lab) -> None:
    code = lab.order()
    for act in ("withdraw", "ask"):
        with pytest.raises(NotFound, match=f"no pair {code} here"):
            lab.act(code, act, by="quay clinician", reason="x", facts={"code": code})


def test_a_mistyped_code_is_caught_before_any_look_up(lab: Lab) -> None:
    code = lab.order()
    wrong = code.replace("-0000", "-0001")
    assert wrong != code
    with pytest.raises(NotFound, match="check character"):
        lab.at(wrong)


def test_the_bench_is_not_the_clinician_s(lab: Lab) -> None:
    code = lab.order()
    lab.walk(code, "press")
    with pytest.raises(NotAllowed, match="belongs to a technician"):
        lab.act(code, "advance", by="clinician")


def test_a_stay_is_stored_when_a_side_leaves_a_stage(lab: Lab) -> None:
    code = lab.order()
    clock.set_shift(timedelta(days=7))
    lab.act(code, "advance")
    with lab.database.reading() as db:
        stays = db.exec(select(Stay)).all()
    assert {(stay.side, stay.stage) for stay in stays} == {("L", "check_in"), ("R", "check_in")}
    # A week holds five working days of nine hours, whenever in the week it begins.
    assert {stay.minutes for stay in stays} == {5 * 9 * 60}


def test_work_done_in_one_go_is_marked_and_left_out_of_stage_times(lab: Lab) -> None:
    code = lab.order()
    lab.act(code, "advance", to_stage="cover")
    with lab.database.reading() as db:
        assert db.exec(select(Move).where(Move.act == "advance")).one().together
        assert db.exec(select(Stay)).all() == []


def test_a_pair_is_promised_its_day_at_check_in(lab: Lab) -> None:
    soon, late = clock.today(lab.house.zone) + timedelta(days=1), clock.today(lab.house.zone) + timedelta(days=90)
    for wanted in (soon, late):
        code = lab.order(label=f"W {wanted}", wanted_on=wanted)
        assert lab.row(code)["promised_on"] is None
        lab.act(code, "advance")
        promised = lab.row(code)["promised_on"]
        working = wanted + timedelta(days=max(0, 7 - wanted.weekday()) if wanted.weekday() > 4 else 0)
        assert (promised == working) is (wanted == late)
        assert promised > wanted or wanted == late
        assert promised.weekday() < 5


def test_the_promised_day_is_changed_with_a_reason(lab: Lab) -> None:
    code = lab.order()
    day = clock.today(lab.house.zone) + timedelta(days=30)
    with pytest.raises(BadInput, match="needs a reason"):
        lab.act(code, "promise", facts={"day": day.isoformat()})
    with pytest.raises(BadInput, match="is over"):
        lab.act(code, "promise", reason="holiday", facts={"day": "2020-01-01"})
    lab.act(code, "promise", reason="holiday", facts={"day": day.isoformat()})
    assert lab.row(code)["promised_on"] == day


def test_a_question_stops_the_pair_and_its_answer_lets_it_go_on(lab: Lab) -> None:
    code = lab.order()
    lab.walk(code, "press")
    lab.act(code, "ask", reason="Met pad on which side?")
    assert lab.row(code)["parked_on"] == "clinic"
    with pytest.raises(Unready, match="parked and waits on the clinic"):
        lab.act(code, "advance")
    with pytest.raises(NotAllowed):
        lab.act(code, "answer", by="technician", reason="left")
    lab.act(code, "answer", by="clinician", reason="Left only")
    assert lab.row(code)["parked_on"] is None
    lab.act(code, "advance")
    with lab.database.reading() as db:
        hold = db.exec(select(Hold)).one()
        assert db.get_one(Note, hold.answer_id).words == "Left only"


def test_a_question_may_stop_the_pair_before_a_later_stage(lab: Lab) -> None:
    code = lab.order()
    lab.walk(code, "pour")
    with pytest.raises(BadInput, match="can be stopped before press, cover"):
        lab.act(code, "ask", reason="Which cover?", facts={"before": "check_in"})
    lab.act(code, "ask", reason="Which cover?", facts={"before": "cover"})
    assert (lab.row(code)["parked_on"], lab.row(code)["open_holds"]) == (None, 1)
    with pytest.raises(Unready, match="stops it before 'To cover'"):
        lab.act(code, "advance", to_stage="trim")
    lab.act(code, "advance")
    assert lab.at(code).stage == "press", "it goes on up to there"
    lab.act(code, "advance")
    assert lab.row(code)["parked_on"] == "clinic"
    with pytest.raises(Unready, match="parked and waits on the clinic"):
        lab.act(code, "advance")
    lab.act(code, "take_back")
    assert (lab.at(code).stage, lab.row(code)["parked_on"]) == ("press", None)
    lab.act(code, "answer", by="clinician", reason="Leather")
    lab.act(code, "advance")
    assert (lab.row(code)["parked_on"], lab.row(code)["open_holds"]) == (None, 0)


def test_an_answer_lets_the_pair_go_on_only_if_the_clinician_says_so(lab: Lab) -> None:
    code = lab.order()
    lab.walk(code, "press")
    lab.act(code, "ask", reason="Met pad on which side?")
    lab.act(code, "answer", by="clinician", reason="Let me look at the chart.", facts={"stays": True})
    assert lab.row(code)["parked_on"] == "clinic"
    lab.act(code, "answer", by="clinician", reason="Left.")
    assert lab.row(code)["parked_on"] is None


def test_several_questions_are_answered_one_by_one(lab: Lab) -> None:
    code = lab.order()
    lab.walk(code, "press")
    first = lab.act(code, "ask", reason="Met pad?").move_id
    lab.act(code, "ask", reason="Which cover?", facts={"before": "cover"})
    lab.act(code, "answer", by="clinician", reason="Left.", facts={"holds": [first]})
    assert (lab.row(code)["parked_on"], lab.row(code)["open_holds"]) == (None, 1)


def test_words_stand_in_notes_and_never_in_the_log(lab: Lab) -> None:
    code = lab.order()
    lab.act(code, "ask", reason="Does MR 2210 feel the left heel?")
    with lab.database.reading() as db:
        rows = str(db.execute(text("SELECT * FROM move")).all()) + str(db.exec(select(Entry)).all())
        assert "heel" not in rows
        assert db.exec(select(Move.note_digest).where(Move.act == "ask")).one()


@pytest.mark.parametrize("act", ["advance", "send_back", "park", "resume", "dispense"])
def test_the_own_last_act_is_taken_back_within_ten_minutes(lab: Lab, act: str) -> None:
    code = lab.order()
    lab.walk(code, "dispense" if act == "dispense" else "trim")
    if act == "resume":
        lab.act(code, "park", reason="material", waiting_on="supplier")
    by = "clinician" if act == "dispense" else "technician"
    before = lab.row(code)
    needs = {
        "send_back": {"sides": "L", "to_stage": "press", "reason": "cracked"},
        "park": {"reason": "machine", "waiting_on": "lab"},
    }
    lab.act(code, act, by=by, **needs.get(act, {}))
    lab.act(code, "take_back", by=by)
    after = lab.row(code)
    changed = {key for key in after if after[key] != before[key]}
    assert changed <= {"version", "parked_since"}
    with lab.database.reading() as db:
        assert {stay.stage for stay in db.exec(select(Stay))} == {"check_in", "pour", "press", "cover"} | (
            {"trim"} if act == "dispense" else set()
        )


def test_too_late_not_one_s_own_or_followed_acts_stay(lab: Lab) -> None:
    code = lab.order()
    lab.act(code, "advance")
    with pytest.raises(Unready, match="not yours"):
        lab.act(code, "take_back", by="second technician")
    clock.set_shift(timedelta(minutes=11))
    with pytest.raises(Unready, match="ten minutes"):
        lab.act(code, "take_back")
    lab.act(code, "ask", reason="Which side?")
    with pytest.raises(Unready, match="not yours"):
        lab.act(code, "take_back")


def test_a_withdrawn_pair_is_reopened_where_it_stood(lab: Lab) -> None:
    code = lab.order()
    lab.walk(code, "trim")
    lab.act(code, "send_back", sides="L", to_stage="press", reason="cracked")
    lab.act(code, "withdraw", by="clinician", reason="moved away", facts={"code": code})
    assert lab.at(code).end == "withdrawn"
    with pytest.raises(NotAllowed):
        lab.act(code, "reopen", by="clinician", reason="back again")
    lab.act(code, "reopen", by="manager", reason="back again")
    assert dict(lab.at(code).sides) == {"L": "press", "R": "trim"}


def test_the_moves_walked_again_lead_to_where_the_pair_stands(lab: Lab) -> None:
    code = lab.order()
    lab.walk(code, "trim")
    lab.act(code, "send_back", sides="R", to_stage="pour", reason="shape")
    lab.act(code, "park", reason="material", waiting_on="supplier")
    lab.act(code, "take_back")
    lab.act(code, "ask", reason="Which?")
    state = lab.at(code)
    with lab.database.reading() as db:
        walk = replay(queries.steps(db, lab.row(code)["id"]))
    assert walk.sides == dict(state.sides)
    assert walk.stage == state.stage
    assert set(walk.holds) == {hold.id for hold in state.holds}


def test_the_row_names_only_the_sides_with_work_and_what_the_stage_needs(lab: Lab) -> None:
    left = SIDE | {"additions": ["met_pad"]}
    code = lab.order(prescription={"L": left, "R": dict(SIDE)})
    lab.walk(code, "press")
    assert lab.row(code)["needs"] == ["polypropylene", "4.0\u00a0mm"]
    lab.act(code, "advance")
    assert "left metatarsal pad, right none" in lab.row(code)["needs"]
    lab.act(code, "send_back", sides="R", to_stage="press", reason="cracked")
    assert lab.row(code)["needs"] == ["polypropylene", "4.0\u00a0mm"]


def test_when_it_was_done_lies_between_the_last_move_and_now(lab: Lab) -> None:
    code = lab.order()
    clock.set_shift(timedelta(hours=3))
    done_at = clock.now() - timedelta(hours=1)
    lab.act(code, "advance", done_at=done_at)
    assert lab.row(code)["since"] == done_at
    with pytest.raises(BadInput, match="between the pair's last move and now"):
        lab.act(code, "advance", done_at=done_at - timedelta(minutes=1))
