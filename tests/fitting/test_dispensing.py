"""The day of dispensing: a fit check that passes, what goes home with the wearer, and what it takes to let it go."""

from collections.abc import Callable
from copy import deepcopy
from datetime import date
from typing import Any

import pytest
from sqlmodel import col, select

from app.bench.tables import Move
from app.errors import BadInput, NotAllowed, Unready
from app.fitting.tables import FitCheck, Recheck, Review, WearingPlan
from app.journal.tables import Entry, Note
from app.orders.tables import Order
from tests.bench.conftest import Lab
from tests.house import FITS

OnDay = Callable[[date], None]
WEDNESDAY = date(2027, 3, 3)


def ready(lab: Lab, on_day: OnDay, **more: Any) -> str:
    """A pair that stands at To dispense on a Wednesday in March."""
    on_day(WEDNESDAY)
    code = lab.order(**more)
    lab.walk(code, "dispense")
    return code


def found(side: str, sides: str = "LR", **answers: Any) -> dict[str, Any]:
    """Everything fits but this, on this side."""
    facts = deepcopy(FITS[sides])
    facts["fit"][side] |= answers
    return facts


def test_dispensing_sends_the_wearer_home_with_a_plan_and_a_review_in_two_weeks(lab: Lab, on_day: OnDay) -> None:
    code = ready(lab, on_day)
    lab.act(code, "dispense", by="clinician")
    with lab.database.reading() as db:
        plan, review = db.exec(select(WearingPlan)).one(), db.exec(select(Review)).one()
        check = db.exec(select(FitCheck)).one()
        assert db.exec(select(Recheck)).all() == []
    assert (plan.from_day, plan.start_minutes, plan.step_minutes, plan.target_minutes) == (WEDNESDAY, 60, 60, 480)
    # 3 March and two weeks, by a wall calendar: Wednesday 17 March 2027.
    assert (review.number, review.due_on, review.state) == (1, date(2027, 3, 17), "open")
    assert (check.result, check.answers["L"]["arch"]) == ("released", "full")


def test_at_high_risk_the_review_is_after_one_week_and_rechecks_follow(lab: Lab, on_day: OnDay) -> None:
    code = ready(lab, on_day, wearer={"risks": ["diabetes", "sensation_loss"]})
    lab.act(code, "dispense", by="clinician")
    with lab.database.reading() as db:
        assert db.exec(select(Review)).one().due_on == date(2027, 3, 10)
        # Half an hour more each day where feeling is lost: the leaflets' slower plan.
        assert db.exec(select(WearingPlan.step_minutes)).one() == 30
        rechecks = [(each.kind, each.due_on) for each in db.exec(select(Recheck).order_by(col(Recheck.due_on)))]
    # Three months on is Thursday 3 June; six months on Friday 3 September.
    assert rechecks == [("high_risk", date(2027, 6, 3)), ("high_risk", date(2027, 9, 3))]


@pytest.mark.parametrize(
    ("born", "rechecks"),
    [
        ({"born_on": date(2009, 3, 4)}, 2),  # 18 on the day after
        ({"born_on": date(2009, 3, 3)}, 0),  # 18 on the day itself
        ({"born_year": 2009}, 2),  # may still be 17
        ({"born_year": 2008}, 0),
        ({}, 0),
    ],
)
def test_a_child_gets_rechecks_and_a_usual_review(lab: Lab, on_day: OnDay, born: dict[str, Any], rechecks: int) -> None:
    code = ready(lab, on_day, wearer=born)
    lab.act(code, "dispense", by="clinician")
    with lab.database.reading() as db:
        assert db.exec(select(Recheck.kind)).all() == ["child"] * rechecks
        assert db.exec(select(Review)).one().due_on == date(2027, 3, 17)


def test_a_review_moves_from_a_weekend_to_monday(lab: Lab, on_day: OnDay) -> None:
    code = ready(lab, on_day)
    on_day(date(2027, 3, 6))  # a Saturday; so is the day two weeks later
    lab.act(code, "dispense", by="clinician")
    with lab.database.reading() as db:
        assert db.exec(select(Review)).one().due_on == date(2027, 3, 22)


@pytest.mark.parametrize(
    ("fault", "says"),
    [
        ({"heel_down": False}, "left: the heel is not down in the shoe"),
        ({"arch": "none"}, "left: the arch has no contact"),
        ({"cover": "short"}, "it goes back to cover"),
        ({"liner_out": False}, "left: the liner is still in the shoe"),
    ],
)
def test_a_check_that_fails_releases_nothing_without_a_reason(
    lab: Lab, on_day: OnDay, fault: dict[str, Any], says: str
) -> None:
    code = ready(lab, on_day)
    with pytest.raises(BadInput, match=says):
        lab.act(code, "dispense", by="clinician", facts=found("L", **fault))
    assert lab.at(code).stage == "dispense"
    with lab.database.reading() as db:
        assert db.exec(select(FitCheck)).all() == []
    lab.act(code, "dispense", by="clinician", facts=found("L", **fault), reason="Goes on a journey tomorrow")
    with lab.database.reading() as db:
        check = db.exec(select(FitCheck)).one()
        note = db.get_one(Note, db.get_one(Move, check.move_id).note_id)
    assert (check.result, note.words) == ("with_reason", "Goes on a journey tomorrow")


def test_trimmed_here_and_released_says_so(lab: Lab, on_day: OnDay) -> None:
    code = ready(lab, on_day)
    lab.act(code, "dispense", by="clinician", facts=FITS["LR"] | {"trimmed": True})
    with lab.database.reading() as db:
        assert db.exec(select(FitCheck.result)).one() == "trimmed"


def test_left_and_right_are_confirmed_one_by_one(lab: Lab, on_day: OnDay) -> None:
    code = ready(lab, on_day)
    for confirmed in ("L", "", None, 7):
        with pytest.raises(BadInput, match="Confirm"):
            lab.act(code, "dispense", by="clinician", facts=FITS["LR"] | {"confirmed": confirmed})
    alone = lab.order(label="R 1", sides="R")
    lab.walk(alone, "dispense")
    with pytest.raises(BadInput, match="has right alone"):
        lab.act(alone, "dispense", by="clinician", facts=FITS["R"] | {"confirmed": "LR"})
    lab.act(alone, "dispense", by="clinician", facts=FITS["R"])
    assert lab.at(alone).stage == "wear_in"


def test_everything_wrong_in_a_check_is_named_at_its_field(lab: Lab, on_day: OnDay) -> None:
    code = ready(lab, on_day)
    facts = found("R", arch="some", heel_with="steep", heel_without=31, neutral="yes", colour="red")
    facts["fit"]["read_back"] = False
    facts |= {"plan": {"key": "fast", "target_minutes": "long"}}
    with pytest.raises(BadInput) as refusal:
        lab.act(code, "dispense", by="clinician", facts=facts)
    assert set(refusal.value.fields) == {
        *("fit.R.arch", "fit.R.heel_with", "fit.R.heel_without", "fit.R.neutral", "fit.R.colour", "fit.read_back"),
        *("plan.key", "plan.target_minutes"),
    }


def test_the_heel_is_kept_in_degrees_where_it_was_measured(lab: Lab, on_day: OnDay) -> None:
    code = ready(lab, on_day)
    lab.act(code, "dispense", by="clinician", facts=found("L", heel_without="6,5", heel_with=2))
    with lab.database.reading() as db:
        answers = db.exec(select(FitCheck.answers)).one()
    assert (answers["L"]["heel_without"], answers["L"]["heel_with"]) == (6.5, 2.0)
    assert "heel_with" not in answers["R"]


def test_another_plan_is_chosen_up_to_four_hours(lab: Lab, on_day: OnDay) -> None:
    code = ready(lab, on_day)
    plan = {"key": "half_hour", "target_minutes": 240}
    lab.act(code, "dispense", by="clinician", facts=FITS["LR"] | {"plan": plan})
    with lab.database.reading() as db:
        made = db.exec(select(WearingPlan)).one()
    assert (made.plan, made.start_minutes, made.step_minutes, made.target_minutes) == ("half_hour", 30, 30, 240)
    other = lab.order(label="P 2")
    lab.walk(other, "dispense")
    with pytest.raises(BadInput, match="1440"):
        lab.act(other, "dispense", by="clinician", facts=FITS["LR"] | {"plan": {"target_minutes": 1441}})


def test_a_changed_shoe_replaces_the_order_s(lab: Lab, on_day: OnDay) -> None:
    code = ready(lab, on_day, shoe={"kind": "dress", "size": 42.0, "system": "eu"})
    shoe = {"kind": "walking", "size": "43", "system": "eu"}
    lab.act(code, "dispense", by="clinician", facts=FITS["LR"] | {"shoe": shoe})
    with lab.database.reading() as db:
        assert db.exec(select(Order.shoe)).one() == {"kind": "walking", "size": 43.0, "system": "eu"}
        assert db.exec(select(Entry.facts).where(Entry.what == "shoe_changed")).one() == {"fields": ["kind", "size"]}


def test_a_dispensing_taken_back_voids_plan_review_and_rechecks(lab: Lab, on_day: OnDay) -> None:
    code = ready(lab, on_day, wearer={"risks": ["diabetes"]})
    lab.act(code, "dispense", by="clinician")
    lab.act(code, "take_back", by="clinician")
    assert lab.at(code).stage == "dispense"
    with lab.database.reading() as db:
        assert db.exec(select(WearingPlan.void)).all() == [True]
        assert db.exec(select(Review.state)).all() == ["void"]
        assert db.exec(select(Recheck.state)).all() == ["void", "void"]
    lab.act(code, "dispense", by="clinician")
    with lab.database.reading() as db:
        assert db.exec(select(Review.number, Review.state).order_by(col(Review.number))).all() == [
            (1, "void"),
            (2, "open"),
        ]
        assert len(db.exec(select(Recheck).where(Recheck.state == "open")).all()) == 2


def test_a_refurbishment_ends_with_its_fit_check(lab: Lab, on_day: OnDay) -> None:
    code = ready(lab, on_day)
    lab.act(code, "dispense", by="clinician")
    lab.act(code, "settle", by="clinician")
    lab.act(code, "refurbish", by="clinician")
    assert lab.row(code)["promised_on"] is None
    lab.walk(code, "dispense")
    lab.act(code, "dispense", by="clinician")
    assert lab.at(code).end == "settled"
    with lab.database.reading() as db:
        assert len(db.exec(select(FitCheck)).all()) == 2
        assert len(db.exec(select(WearingPlan)).all()) == 1
        assert db.exec(select(Review.state)).all() == ["held"]


def test_who_may_not_or_stands_elsewhere_is_told_before_the_check_is_looked_at(lab: Lab, on_day: OnDay) -> None:
    code = ready(lab, on_day)
    with pytest.raises(NotAllowed):
        lab.act(code, "dispense", by="technician", facts={})
    lab.act(code, "park", by="clinician", reason="wearer", waiting_on="wearer")
    with pytest.raises(Unready, match="parked"):
        lab.act(code, "dispense", by="clinician", facts={})
