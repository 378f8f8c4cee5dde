"""Plaster sets and glue cures: a pair can't be worked until then, waits for nobody, and comes back by itself."""

from datetime import timedelta

import pytest

from app import clock
from app.bench import queries
from app.errors import BadInput
from tests.bench.conftest import Lab


def workable(lab: Lab, stage: str) -> list[str]:
    with lab.database.reading() as db:
        return [row.code for row in queries.queue(db, stage, clinics=None)[0]]


def setting(lab: Lab, stage: str) -> list[str]:
    with lab.database.reading() as db:
        return [row.code for row in queries.setting(db, stage, clinics=None)]


def at(lab: Lab, stage: str, label: str = "MR 2210") -> str:
    code = lab.order(label=label)
    lab.walk(code, stage)
    return code


def test_what_sets_stands_below_is_counted_apart_and_comes_back_by_itself(lab: Lab) -> None:
    first, second = at(lab, "pour", "A 1"), at(lab, "pour", "A 2")
    lab.act(first, "advance", facts={"sets_for": 40})
    lab.act(second, "advance")
    assert (workable(lab, "press"), setting(lab, "press")) == ([second], [first])
    with lab.database.reading() as db:
        assert queries.waiting(db, clinics=None)["press"][::2] == (1, 1)
        count = queries.counts(db, clinics=None)["press"]
    assert (count.pairs, count.setting, count.open) == (1, 1, 2)
    clock.set_shift(timedelta(minutes=41))
    assert (workable(lab, "press"), setting(lab, "press")) == ([first, second], [])
    with lab.database.reading() as db:
        assert queries.counts(db, clinics=None)["press"][::2] == (2, 0)


def test_a_question_in_between_does_not_harden_the_plaster(lab: Lab) -> None:
    code = at(lab, "pour")
    lab.act(code, "advance", facts={"sets_for": 40})
    until = lab.row(code)["not_before"]
    lab.act(code, "ask", reason="Which side?")
    lab.act(code, "answer", by="clinician", reason="Both")
    assert lab.row(code)["not_before"] == until
    lab.act(code, "advance")
    assert lab.row(code)["not_before"] is None, "the next stage has nothing that sets"


def test_setting_is_counted_from_when_the_work_was_done(lab: Lab) -> None:
    code = at(lab, "pour")
    clock.set_shift(timedelta(hours=1))
    done_at = clock.now() - timedelta(minutes=30)
    lab.act(code, "advance", facts={"sets_for": 45}, done_at=done_at)
    assert lab.row(code)["not_before"] == done_at + timedelta(minutes=45)


def test_one_side_poured_leaves_the_other_to_work_and_the_later_plaster_decides(lab: Lab) -> None:
    code = at(lab, "pour")
    left = lab.act(code, "advance", sides="L", facts={"sets_for": 60})
    assert left.state.stage == "pour"
    assert workable(lab, "pour") == [code], "the right is still to be poured"
    poured = clock.now()
    lab.act(code, "advance", sides="R", facts={"sets_for": 10})
    until = lab.row(code)["not_before"]
    assert timedelta(minutes=59) < until - poured <= timedelta(minutes=60), "the left sets longer"


def test_time_in_which_it_sets_is_no_time_at_the_next_stage(lab: Lab) -> None:
    code = at(lab, "pour")
    clock.set_shift(timedelta(days=7))  # any day: what is compared is two instants
    lab.act(code, "advance", facts={"sets_for": 300})
    until = lab.row(code)["not_before"]
    clock.set_shift(timedelta(days=7, hours=6))
    lab.act(code, "advance")
    with lab.database.reading() as db:
        entered = {
            stay.side: stay.entered_at for stay in queries.stays(db, lab.row(code)["id"]) if stay.stage == "press"
        }
    assert entered == {"L": until, "R": until}


@pytest.mark.parametrize(
    ("stage", "minutes", "says"),
    [
        ("press", 30, "Nothing sets or cures after 'To press'"),
        ("pour", 0, "whole number of minutes"),
        ("pour", "soon", "'soon' is not"),
        ("pour", True, "'True' is not"),
        ("cover", 4321, "from 1 to 4320"),
    ],
)
def test_what_sets_for_no_time_is_refused(lab: Lab, stage: str, minutes: object, says: str) -> None:
    code = at(lab, stage)
    with pytest.raises(BadInput, match=says) as refusal:
        lab.act(code, "advance", facts={"sets_for": minutes})
    assert set(refusal.value.fields) == {"sets_for"}
    assert lab.at(code).stage == stage
