"""Wearing in and its review: what waits, what does not, what is adjusted by hand, and how a pair finds its wearer."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from sqlmodel import col, select

from app.bench import queries as pairs
from app.bench.tables import Move, Visit
from app.errors import BadInput, Unready
from app.fitting import queries
from app.fitting.tables import Adjustment, Recheck, Review, WearingPlan, Wish
from app.journal.tables import Note
from tests.bench.conftest import Lab

OnDay = Callable[[date], None]
DISPENSED, NEXT_DAY, DUE = date(2027, 3, 3), date(2027, 3, 4), date(2027, 3, 17)
ARCH = [{"side": "R", "zone": "medial_arch", "what": "lowered"}]
HERE = {"where": "here", "zones": ARCH}


def worn(lab: Lab, on_day: OnDay, by: str = "clinician", clinic: str = "house", **more: Any) -> str:
    """A pair dispensed on Wednesday 3 March 2027; its review is due two weeks later."""
    on_day(DISPENSED)
    code = lab.order(by=by, clinic=clinic, **more)
    lab.walk(code, "wear_in", by)
    return code


def reviews(lab: Lab) -> list[Review]:
    with lab.database.reading() as db:
        return list(db.exec(select(Review).order_by(col(Review.number))))


def test_a_parcel_clinic_s_clinician_adjusts_in_one_act_without_the_lab(lab: Lab, on_day: OnDay) -> None:
    code = worn(lab, on_day, "parcel clinician", "trims")
    on_day(DUE)
    done = [*ARCH, {"side": "L", "zone": "cover", "what": "glued"}]
    lab.act(code, "adjust", by="parcel clinician", sides="LR", facts={"where": "here", "zones": done, "words": "Eased"})
    assert lab.at(code).stage == "wear_in"
    with lab.database.reading() as db:
        rows = db.exec(select(Adjustment.side, Adjustment.zone, Adjustment.what, Adjustment.note_id)).all()
        assert db.exec(select(Visit.number)).all() == [1]
        assert len(db.exec(select(Move).where(Move.act == "adjust")).all()) == 1
        assert db.get_one(Note, rows[0][3]).words == "Eased"
    assert [row[:3] for row in rows] == [("R", "medial_arch", "lowered"), ("L", "cover", "glued")]
    first, second = reviews(lab)
    assert (first.state, first.outcome) == ("held", "adjust_here")
    # Two weeks after Wednesday 17 March: Wednesday 31 March.
    assert (second.state, second.due_on) == ("open", date(2027, 3, 31))


def test_an_adjustment_at_the_lab_is_a_visit_and_brings_a_new_plan_and_review(lab: Lab, on_day: OnDay) -> None:
    code = worn(lab, on_day, wearer={"risks": ["diabetes"]})
    on_day(DUE)
    lab.act(code, "adjust", by="clinician", sides="L", facts={"where": "lab", "stages": ["cover"]})
    assert dict(lab.at(code).sides) == {"L": "cover", "R": "dispense"}
    assert lab.row(code)["promised_on"] is None
    lab.walk(code, "wear_in")
    first, second = reviews(lab)
    assert (first.outcome, second.number, second.due_on) == ("adjust_lab", 2, date(2027, 3, 24))
    with lab.database.reading() as db:
        plans = db.exec(select(WearingPlan).order_by(col(WearingPlan.id))).all()
        assert [plan.ended_at is None for plan in plans] == [False, True]
        # The rechecks of the first dispensing stand; there are no second ones.
        assert len(db.exec(select(Recheck)).all()) == 2


def test_before_the_review_an_adjustment_is_refused_and_a_reason_overrides(lab: Lab, on_day: OnDay) -> None:
    code = worn(lab, on_day)
    on_day(date(2027, 3, 16))
    with pytest.raises(Unready, match="due on Wed 17 Mar"):
        lab.act(code, "adjust", by="clinician", sides="R", facts=HERE)
    lab.act(code, "adjust", by="clinician", sides="R", facts=HERE, reason="The edge cuts into the heel")
    with lab.database.reading() as db:
        note = db.get_one(Note, db.exec(select(Move.note_id).where(Move.act == "adjust")).one())
    assert note.words == "The edge cuts into the heel"


def test_a_review_booked_for_an_earlier_day_may_adjust_on_it(lab: Lab, on_day: OnDay) -> None:
    code = worn(lab, on_day)
    lab.act(code, "book", by="clinician", facts={"at": "2027-03-12T09:30"})
    on_day(date(2027, 3, 12))
    lab.act(code, "adjust", by="clinician", sides="R", facts=HERE)
    assert reviews(lab)[0].outcome == "adjust_here"


def test_an_early_wish_waits_for_the_review_and_a_red_flag_does_not(lab: Lab, on_day: OnDay) -> None:
    patient, urgent = worn(lab, on_day, label="W 1"), worn(lab, on_day, label="W 2")
    on_day(NEXT_DAY)
    lab.act(patient, "note_request", by="clinician", reason="The arch feels high")
    lab.act(urgent, "note_request", by="clinician", reason="A blister", facts={"red_flags": ["skin"]})
    with pytest.raises(Unready, match="Note the wish, and it waits"):
        lab.act(patient, "adjust", by="clinician", sides="R", facts=HERE)
    lab.act(urgent, "adjust", by="clinician", sides="R", facts=HERE)
    with lab.database.reading() as db:
        pair_id = lab.row(patient)["id"]
        assert [wish.words for wish in queries.open_wishes(db, pair_id)] == ["The arch feels high"]
        waiting = queries.wishes_waiting(db, [lab.house.clinics["house"]])
        assert [(row.code, row.red_flags) for row in waiting] == [(patient, [])]
    on_day(DUE)
    lab.act(patient, "settle", by="clinician")
    with lab.database.reading() as db:
        assert db.exec(select(Wish).where(col(Wish.answered_at).is_(None))).all() == []


def test_what_the_review_found_is_kept_with_its_outcome(lab: Lab, on_day: OnDay) -> None:
    code = worn(lab, on_day)
    on_day(DUE)
    found = {"hours_reached": "7,5", "comfort": 8, "pain": "1", "pain_relief": 80, "skin": "clear"}
    lab.act(code, "settle", by="clinician", facts={"review": found, "words": "Walks to work again"})
    held = reviews(lab)[0]
    assert (held.state, held.outcome, held.held_at is not None) == ("held", "settle", True)
    assert (held.hours_reached, held.comfort, held.pain, held.pain_relief, held.skin) == (7.5, 8, 1, 80, "clear")
    with lab.database.reading() as db:
        assert db.get_one(Note, held.note_id).words == "Walks to work again"
        assert db.exec(select(Move.facts).where(Move.act == "settle")).one() == {"end": "settled"}


def test_the_review_s_answers_are_all_optional(lab: Lab, on_day: OnDay) -> None:
    code = worn(lab, on_day)
    lab.act(code, "settle", by="clinician")
    assert (reviews(lab)[0].outcome, reviews(lab)[0].comfort) == ("settle", None)


IMPOSSIBLE: tuple[tuple[str, Any], ...] = (
    *(("hours_reached", value) for value in (25, "many", -1, "nan")),
    *(("comfort", value) for value in (11, "7.5", True, [8])),
    *(("pain_relief", value) for value in (101, "inf")),
    *(("skin", value) for value in ("sunny", ["clear"])),
    *(("painful", value) for value in ("0", [16], "soon", 7.5, {"a": 1})),
    ("mood", "good"),
)


def test_an_answer_that_can_t_be_is_named_at_its_field(lab: Lab, on_day: OnDay) -> None:
    code = worn(lab, on_day)
    on_day(DUE)
    for answer, value in IMPOSSIBLE:
        with pytest.raises(BadInput) as refusal:
            lab.act(code, "keep_wearing", by="clinician", facts={"review": {answer: value}})
        assert set(refusal.value.fields) == {f"review.{answer}"}, value
    assert [review.state for review in reviews(lab)] == ["open"]


def test_a_painful_day_holds_the_hours(lab: Lab, on_day: OnDay) -> None:
    code = worn(lab, on_day)
    on_day(date(2027, 3, 6))  # day 4
    lab.act(code, "note_request", by="clinician", reason="It hurt", facts={"painful": "3"})
    on_day(DUE)
    lab.act(code, "keep_wearing", by="clinician", facts={"review": {"painful": [4]}})
    with lab.database.reading() as db:
        view = queries.pair_view(db, pairs.find(db, code, lab.house.viewer("clinician")), lab.house.viewer("clinician"))
    # By hand: 1, 2, 3 hours; day 3 hurt, so day 4 has 3 again; day 4 hurt, so does day 5; then it rises.
    assert [hours for _, _, hours, _ in view["plan_days"][:7]] == [f"{hours}\u00a0h" for hours in (1, 2, 3, 3, 3, 4, 5)]


def test_keep_wearing_sets_the_next_review(lab: Lab, on_day: OnDay) -> None:
    code = worn(lab, on_day)
    on_day(DUE)
    lab.act(code, "keep_wearing", by="clinician")
    assert [(r.number, r.state, r.outcome, r.due_on) for r in reviews(lab)] == [
        (1, "held", "keep_wearing", DUE),
        (2, "open", None, date(2027, 3, 31)),
    ]


UNCLEAR: tuple[tuple[dict[str, Any], str], ...] = (
    ({"where": "home"}, "where"),
    ({"where": ["here"]}, "where"),
    ({"where": "here"}, "zones"),
    ({"where": "here", "zones": 5}, "zones"),
    ({"where": "here", "zones": ["arch"]}, "zones"),
    ({"where": "here", "zones": [{"side": "R", "zone": "roof", "what": "lowered"}]}, "zone.R"),
    ({"where": "here", "zones": [{"side": "R", "zone": "cover", "what": "painted"}]}, "what.R"),
    ({"where": "here", "zones": [{"side": "L", "zone": "cover", "what": "glued"}]}, "zones"),
    ({"where": "lab"}, "stages"),
    ({"where": "lab", "stages": ["send"]}, "stages"),
    ({"where": "lab", "stages": [{}]}, "stages"),
)


def test_an_adjustment_that_is_not_clear_changes_nothing(lab: Lab, on_day: OnDay) -> None:
    code = worn(lab, on_day)
    on_day(DUE)
    for facts, field in UNCLEAR:
        with pytest.raises(BadInput) as refusal:
            lab.act(code, "adjust", by="clinician", sides="R", facts=facts)
        assert set(refusal.value.fields) == {field}, facts
    assert lab.at(code).stage == "wear_in"


def test_a_remake_is_the_review_s_outcome_and_ends_what_belonged_to_the_old_pair(lab: Lab, on_day: OnDay) -> None:
    code = worn(lab, on_day, wearer={"risks": ["diabetes"]})
    on_day(DUE)
    lab.act(code, "remake", by="clinician", sides="L", reason="fit", facts={"start": "positive"})
    assert [(r.state, r.outcome) for r in reviews(lab)] == [("held", "remake")]
    with lab.database.reading() as db:
        assert set(db.exec(select(Recheck.state)).all()) == {"void"}
        assert db.exec(select(WearingPlan.ended_at)).one() is not None


def test_a_withdrawn_pair_is_reviewed_no_more_and_a_reopened_one_again(lab: Lab, on_day: OnDay) -> None:
    code = worn(lab, on_day)
    lab.act(code, "withdraw", by="clinician", reason="moved away", facts={"code": code})
    assert [(r.state, r.outcome) for r in reviews(lab)] == [("void", "withdraw")]
    lab.act(code, "reopen", by="manager", reason="is back")
    assert lab.at(code).stage == "wear_in"
    assert [r.state for r in reviews(lab)] == ["void", "open"]
