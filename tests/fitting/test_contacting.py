"""Telling the wearer, booking, and giving up only after the attempts that were recorded."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from sqlmodel import col, select

from app import clock
from app.errors import BadInput, Unready
from app.fitting.tables import Contact, Review
from app.people.tables import Lab as LabRow
from tests.bench.conftest import Lab

OnDay = Callable[[date], None]
START = date(2027, 3, 3)


def standing(lab: Lab, on_day: OnDay, until: str) -> str:
    on_day(START)
    code = lab.order()
    lab.walk(code, until)
    return code


def set_limit(lab: Lab, **limits: Any) -> None:
    with lab.database.writing() as db:
        db.get_one(LabRow, 1).limits = limits


def test_the_wearer_is_told_and_a_fitting_booked(lab: Lab, on_day: OnDay) -> None:
    code = standing(lab, on_day, "dispense")
    lab.act(code, "tell", by="clinician", facts={"how": "telephone", "who": "family"})
    lab.act(code, "book", by="clinician", facts={"at": "2027-03-09T10:30+01:00"})
    # The wanted and promised day give way to the appointment's.
    assert lab.row(code)["due_on"] == date(2027, 3, 9)
    assert lab.row(code)["fitting_at"].isoformat() == "2027-03-09T09:30:00+00:00"
    with lab.database.reading() as db:
        rows = db.exec(select(Contact.kind, Contact.how, Contact.who, Contact.what).order_by(col(Contact.id))).all()
    assert rows == [("told", "telephone", "family", None), ("booked", None, None, "fitting")]


def test_during_wearing_in_it_is_the_review_that_is_booked(lab: Lab, on_day: OnDay) -> None:
    code = standing(lab, on_day, "wear_in")
    # Summer time has begun in Lisbon on 28 March 2027: 10:30 there is 9:30 UTC.
    lab.act(code, "book", by="clinician", facts={"at": "2027-03-30T10:30", "what": "review"})
    with lab.database.reading() as db:
        booked = db.exec(select(Review.appointment)).one()
    assert booked is not None
    assert booked.isoformat() == "2027-03-30T09:30:00+00:00"
    assert lab.row(code)["fitting_at"] is None


def test_an_appointment_is_a_time_to_come(lab: Lab, on_day: OnDay) -> None:
    code = standing(lab, on_day, "dispense")
    wrong: list[Any] = ["soon", "", "2027-03-02T10:00", "2031-01-01T10:00", "9999-12-31T23:59-23:00", 7, None, []]
    for at in wrong:
        with pytest.raises(BadInput) as refusal:
            lab.act(code, "book", by="clinician", facts={"at": at, "what": "fitting"})
        assert "at" in refusal.value.fields
    for facts in ({"how": ["telephone"]}, {"how": "drum"}, {"how": "text", "who": "dog"}):
        with pytest.raises(BadInput, match="one of"):
            lab.act(code, "tell", by="clinician", facts=facts)


def test_who_did_not_come_has_no_appointment_any_more(lab: Lab, on_day: OnDay) -> None:
    code = standing(lab, on_day, "dispense")
    lab.act(code, "book", by="clinician", facts={"at": "2027-03-09T10:30"})
    with pytest.raises(BadInput, match="still to come"):
        lab.act(code, "no_show", by="clinician")
    on_day(date(2027, 3, 10))
    lab.act(code, "no_show", by="clinician")
    assert lab.row(code)["fitting_at"] is None


def test_a_pair_is_closed_without_a_review_only_after_three_recorded_attempts(lab: Lab, on_day: OnDay) -> None:
    code = standing(lab, on_day, "dispense")
    lab.act(code, "tell", by="clinician", facts={"how": "text"})  # before dispensing: no attempt at a review
    lab.act(code, "dispense", by="clinician")
    for attempt in range(3):
        with pytest.raises(Unready, match=rf"there (is|are) {attempt}\."):
            lab.act(code, "close", by="manager", reason="never answers")
        lab.act(code, "tell", by="clinician", facts={"how": "letter"})
    lab.act(code, "close", by="manager", reason="never answers")
    assert lab.at(code).end == "closed"
    with lab.database.reading() as db:
        assert db.exec(select(Review.state)).one() == "void"


def test_a_lab_sets_its_own_number_of_attempts(lab: Lab, on_day: OnDay) -> None:
    code = standing(lab, on_day, "wear_in")
    set_limit(lab, close_after_attempts=1)
    lab.act(code, "no_show", by="clinician")
    lab.act(code, "close", by="clinician", reason="never answers")
    assert lab.at(code).end == "closed"


def test_a_pair_is_uncollected_sixty_days_after_the_wearer_was_told(lab: Lab, on_day: OnDay) -> None:
    code = standing(lab, on_day, "dispense")
    clock.set_shift(clock.shift() + timedelta(days=70))
    with pytest.raises(Unready, match="Nobody has told the wearer"):
        lab.act(code, "uncollected", by="clinician", reason="never came")
    lab.act(code, "tell", by="clinician", facts={"how": "telephone"})
    clock.set_shift(clock.shift() + timedelta(days=59))
    lab.act(code, "tell", by="clinician", facts={"how": "letter"})  # counted from the first time
    with pytest.raises(Unready, match="59 days ago"):
        lab.act(code, "uncollected", by="clinician", reason="never came")
    clock.set_shift(clock.shift() + timedelta(days=1))
    lab.act(code, "uncollected", by="clinician", reason="never came")
    assert lab.at(code).end == "uncollected"
