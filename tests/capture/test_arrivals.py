"""What arrives before anyone knows whose it is, and how it finds its order."""

import pytest
from sqlmodel import col, select

from app.capture import actions as capture
from app.capture import queries as captures
from app.capture.tables import Arrival, Capture
from app.errors import BadInput, NotFound
from tests.bench.conftest import Lab


def log(lab: Lab, **more: object) -> int:
    facts = {"kind": "foam", "sides": "LR", "label": "MR 2210"} | more
    with lab.database.writing() as db:
        return capture.log_arrival(db, by=lab.house.viewer("technician"), **facts).id  # type: ignore[arg-type]


def match(lab: Lab, arrival: int, code: str, sides: str) -> None:
    with lab.database.writing() as db:
        order = lab.row(code)["order_id"]
        capture.match_arrival(db, by=lab.house.viewer("technician"), arrival_id=arrival, order_id=order, sides=sides)


def states(lab: Lab, code: str) -> dict[str, str]:
    with lab.database.reading() as db:
        return {row.side: row.state for row in captures.of_order(db, lab.row(code)["order_id"])}


def waiting(lab: Lab) -> list[tuple[str, str]]:
    with lab.database.reading() as db:
        return [(row.label, row.sides) for row in captures.waiting(db)]


def test_a_box_is_written_down_first_and_matched_when_its_order_is_found(lab: Lab) -> None:
    arrival = log(lab, shelf="C3")
    assert waiting(lab) == [("MR 2210", "LR")]
    code = lab.order()
    match(lab, arrival, code, "LR")
    assert states(lab, code) == {"L": "arrived", "R": "arrived"}
    assert waiting(lab) == []


def test_one_foot_of_two_leaves_the_other_expected(lab: Lab) -> None:
    code = lab.order()
    match(lab, log(lab, sides="L"), code, "L")
    assert states(lab, code) == {"L": "arrived", "R": "expected"}


def test_of_two_wearers_in_one_box_each_foot_finds_its_own_order(lab: Lab) -> None:
    first, second = lab.order(label="A 1", sides="L"), lab.order(label="B 1", sides="R")
    arrival = log(lab)
    match(lab, arrival, first, "L")
    assert waiting(lab) == [("MR 2210", "R")]
    with lab.database.reading() as db:
        rest = db.exec(select(Arrival.id).where(col(Arrival.settled_at).is_(None))).one()
    match(lab, rest, second, "R")
    assert states(lab, first) | states(lab, second) == {"L": "arrived", "R": "arrived"}
    assert waiting(lab) == []


def test_what_no_order_waits_for_is_not_matched(lab: Lab) -> None:
    code = lab.order(sides="L")
    with pytest.raises(BadInput, match="does not wait for these sides"):
        match(lab, log(lab, sides="R"), code, "R")
    with pytest.raises(BadInput, match="is not part of it"):
        match(lab, log(lab, sides="R"), code, "L")


def test_a_settled_arrival_is_not_settled_again(lab: Lab) -> None:
    code = lab.order()
    arrival = log(lab)
    match(lab, arrival, code, "LR")
    with pytest.raises(NotFound, match="settled already"):
        match(lab, arrival, code, "LR")


def test_nobody_s_cast_goes_back(lab: Lab) -> None:
    arrival = log(lab, label="", damaged=True, words="no order, no name")
    with lab.database.writing() as db:
        capture.return_arrival(db, by=lab.house.viewer("technician"), arrival_id=arrival)
    assert waiting(lab) == []


def test_check_in_accepts_the_captures_with_shelf_conditions_and_belongings(lab: Lab) -> None:
    code = lab.order()
    facts = {"shelf": "C3", "conditions": ["whole", "side_marked"], "belongings": ["shoes"]}
    lab.act(code, "advance", facts=facts)
    with lab.database.reading() as db:
        left = db.exec(select(Capture).where(Capture.side == "L")).one()
        assert (left.state, left.shelf) == ("accepted", "C3")
        assert left.conditions["whole"] is True
        assert left.conditions["cleaned"] is False
    with pytest.raises(BadInput, match="another look"):
        lab.act(lab.order(label="N 1"), "advance", facts={"conditions": ["pretty"]})
