"""What happens in a lab, told as stories: each begins with an order and ends where it should."""

from datetime import timedelta
from typing import Any

import pytest
from sqlmodel import col, select

from app import clock
from app.bench import actions as bench
from app.bench import queries
from app.bench.actions import parcels
from app.bench.rules.machine import Asked
from app.bench.tables import Move, ParcelItem, Stay, Visit
from app.capture.tables import Capture
from app.errors import BadInput, NotFound, Unready
from app.orders.tables import Prescription
from tests.bench.conftest import SIDE, Lab


def test_the_left_is_sent_back_alone_while_the_right_waits_with_its_work_kept(lab: Lab) -> None:
    code = lab.order()
    lab.walk(code, "trim")
    lab.act(code, "send_back", sides="L", to_stage="press", reason="cracked")
    assert dict(lab.at(code).sides) == {"L": "press", "R": "trim"}
    lab.act(code, "advance")
    lab.act(code, "advance")
    assert dict(lab.at(code).sides) == {"L": "trim", "R": "trim"}
    lab.act(code, "advance")
    with lab.database.reading() as db:
        presses = db.exec(select(Stay.side).where(Stay.stage == "press").order_by(col(Stay.move_id), col(Stay.side)))
        assert presses.all() == ["L", "R", "L"]


def test_the_right_cast_breaks_and_is_recaptured(lab: Lab) -> None:
    code = lab.order()
    lab.walk(code, "pour")
    lab.act(code, "recapture", sides="R", reason="broken")
    state = lab.at(code)
    assert dict(state.sides) == {"L": "pour", "R": "check_in"}
    assert state.waiting_on == {"clinic"}
    with lab.database.reading() as db:
        rights = db.exec(select(Capture.state).where(Capture.side == "R").order_by(col(Capture.id))).all()
    assert rights == ["void", "expected"]
    lab.act(code, "answer", by="clinician", reason="A new cast is on its way")
    lab.act(code, "advance")
    assert dict(lab.at(code).sides) == {"L": "pour", "R": "pour"}
    with lab.database.reading() as db:
        assert db.exec(select(Capture.state).where(Capture.side == "R").order_by(col(Capture.id))).all() == [
            "void",
            "accepted",
        ]


def test_a_capture_that_two_pairs_are_made_from_stops_both(lab: Lab) -> None:
    first = lab.order()
    second = lab.order()
    share_captures(lab, first, second)
    for code in (first, second):
        lab.walk(code, "pour")
    lab.act(first, "recapture", sides="L", reason="wrong_patient")
    for code in (first, second):
        assert lab.at(code).sides["L"] == "check_in"
        assert lab.row(code)["parked_on"] == "clinic"
    with lab.database.reading() as db:
        assert len(db.exec(select(Capture).where(Capture.side == "L", Capture.state == "expected")).all()) == 1


def share_captures(lab: Lab, first: str, second: str) -> None:
    from app.capture import actions as capture
    from app.capture.tables import WorkedFrom

    with lab.database.writing() as db:
        source = db.exec(select(WorkedFrom).where(WorkedFrom.order_id == lab.row(first)["order_id"])).all()
        for row in source:
            capture.work_from(db, order_id=lab.row(second)["order_id"], side=row.side, capture_id=row.capture_id)
        for orphan in db.exec(select(Capture).where(Capture.id.not_in([row.capture_id for row in source]))):  # type: ignore[attr-defined]
            db.delete(orphan)


def amend(lab: Lab, code: str, by: str = "clinician", **left: Any) -> None:
    body = {"L": SIDE | left, "R": dict(SIDE)}
    with lab.database.writing() as db:
        bench.amend(db, code=code, by=lab.house.viewer(by), body=body)


def test_a_prescription_changes_during_pressing_and_the_old_ticket_moves_nothing(lab: Lab) -> None:
    code = lab.order()
    lab.walk(code, "press")
    amend(lab, code, shell_thickness=45)
    assert lab.row(code)["parked_on"] == "lab"
    with pytest.raises(Unready, match="parked"):
        lab.act(code, "advance")
    lab.act(code, "resume")
    assert "left 4.5\u00a0mm, right 4.0\u00a0mm" in lab.row(code)["needs"]
    with pytest.raises(Unready, match="shows prescription 1; prescription 2 holds"):
        lab.act(code, "advance", ticket=1)
    assert lab.at(code).stage == "press"
    lab.act(code, "advance", ticket=2)
    assert lab.at(code).stage == "cover"


def test_a_technician_may_take_a_changed_pair_back_or_say_that_it_is_too_late(lab: Lab) -> None:
    back, late = lab.order(label="B 1"), lab.order(label="L 1")
    for code in (back, late):
        lab.walk(code, "cover")
        amend(lab, code, heel_cup=140)
    lab.act(back, "send_back", sides="L", to_stage="press", reason="prescription")
    assert lab.row(back)["parked_on"] is None
    assert dict(lab.at(back).sides) == {"L": "press", "R": "cover"}
    lab.act(late, "ask", reason="Too late, the shell is cut. Keep it as it is?")
    assert lab.at(late).waiting_on == {"lab", "clinic"}


def test_before_check_in_a_changed_prescription_stops_nothing(lab: Lab) -> None:
    code = lab.order()
    amend(lab, code, shell_thickness=45)
    assert lab.row(code)["parked_on"] is None
    with lab.database.reading() as db:
        assert db.exec(select(Prescription.number)).all() == [1, 2]


def test_a_parcel_of_six_arrives_as_five(lab: Lab) -> None:
    clinic = lab.house.clinics["quay"]
    codes = [lab.order(by="quay clinician", clinic="quay", label=f"Q {n}") for n in range(6)]
    for code in codes:
        lab.walk(code, "send", "quay clinician")
    with lab.database.writing() as db:
        parcel = parcels.send(db, by=lab.house.viewer("technician"), clinic_id=clinic, codes=codes, carrier="the van")
        parcel_id = parcel.id
    assert {lab.at(code).stage for code in codes} == {"receive"}
    assert {lab.row(code)["place"] for code in codes} == {"way"}
    with lab.database.writing() as db:
        arrived = parcels.receive(
            db, by=lab.house.viewer("quay clinician"), parcel_id=parcel_id, exceptions={codes[3]: "missing"}
        )
    assert arrived.missing == [codes[3]]
    assert sorted(arrived.received) == sorted(set(codes) - {codes[3]})
    assert {lab.at(code).stage for code in arrived.received} == {"dispense"}
    lost = lab.row(codes[3])
    assert (lost["stage"], lost["parked_on"], lost["parked_why"]) == ("receive", "lab", "reason")
    with pytest.raises(Unready, match="received already"), lab.database.writing() as db:
        parcels.receive(db, by=lab.house.viewer("quay clinician"), parcel_id=parcel_id, exceptions={})
    lab.act(codes[3], "resume")
    lab.act(codes[3], "advance", by="quay clinician")
    assert lab.at(codes[3]).stage == "dispense"


def test_a_parcel_goes_to_one_clinic_and_all_of_it_or_nothing_is_sent(lab: Lab) -> None:
    ready = lab.order(by="quay clinician", clinic="quay")
    lab.walk(ready, "send", "quay clinician")
    elsewhere = lab.order(by="parcel clinician", clinic="trims")
    lab.walk(elsewhere, "send", "parcel clinician")
    technician, quay = lab.house.viewer("technician"), lab.house.clinics["quay"]
    with pytest.raises(Unready, match="does not belong into a parcel for Upper Quay"), lab.database.writing() as db:
        parcels.send(db, by=technician, clinic_id=quay, codes=[ready, elsewhere])
    assert lab.at(ready).stage == "send"
    with lab.database.reading() as db:
        assert db.exec(select(ParcelItem)).all() == []
    with pytest.raises(BadInput, match="at least one pair"), lab.database.writing() as db:
        parcels.send(db, by=technician, clinic_id=quay, codes=[])


def test_another_clinic_does_not_receive_what_is_not_its_own(lab: Lab) -> None:
    code = lab.order(by="quay clinician", clinic="quay")
    lab.walk(code, "send", "quay clinician")
    with lab.database.writing() as db:
        quay = lab.house.clinics["quay"]
        parcel_id = parcels.send(db, by=lab.house.viewer("technician"), clinic_id=quay, codes=[code]).id
    with pytest.raises(NotFound), lab.database.writing() as db:
        parcels.receive(db, by=lab.house.viewer("parcel clinician"), parcel_id=parcel_id, exceptions={})


def test_a_side_that_does_not_fit_at_a_parcel_clinic_comes_back_to_the_lab_and_returns(lab: Lab) -> None:
    code = lab.order(by="quay clinician", clinic="quay")
    lab.walk(code, "dispense", "quay clinician")
    lab.act(code, "send_back", by="quay clinician", sides="L", to_stage="cover", reason="too_short")
    assert dict(lab.at(code).sides) == {"L": "return", "R": "dispense"}
    quay = lab.house.clinics["quay"]
    with lab.database.writing() as db:
        by = lab.house.viewer("quay clinician")
        parcel_id = parcels.send(db, by=by, clinic_id=quay, codes=[code], to_clinic=False).id
    assert lab.row(code)["place"] == "way"
    with lab.database.writing() as db:
        parcels.receive(db, by=lab.house.viewer("technician"), parcel_id=parcel_id, exceptions={})
    assert lab.row(code)["place"] == "lab"
    lab.walk(code, "send", "quay clinician")
    assert dict(lab.at(code).sides) == {"L": "send", "R": "dispense"}
    lab.walk(code, "dispense", "quay clinician")
    assert lab.at(code).working == "LR"


def test_a_clinician_at_a_parcel_clinic_trims_dispenses_and_adjusts_without_the_lab(lab: Lab) -> None:
    code = lab.order(by="parcel clinician", clinic="trims")
    lab.walk(code, "trim", "parcel clinician")
    assert lab.row(code)["place"] == "clinic"
    lab.act(code, "advance", by="parcel clinician")
    lab.walk(code, "wear_in", "parcel clinician")
    clock.set_shift(timedelta(days=17))
    done = [{"side": "R", "zone": "medial_arch", "what": "lowered"}]
    lab.act(code, "adjust", by="parcel clinician", sides="R", facts={"where": "here", "zones": done})
    assert lab.at(code).stage == "wear_in"
    lab.act(code, "settle", by="parcel clinician")
    assert lab.at(code).end == "settled"


def test_one_side_is_remade_and_the_other_carried_along(lab: Lab) -> None:
    old = lab.order()
    lab.walk(old, "wear_in")
    clock.set_shift(timedelta(days=15))
    facts = {"start": "positive", "bears": "lab"}
    moved = lab.act(old, "remake", by="clinician", sides="L", reason="made_wrong", facts=facts)
    new = moved.state.code
    assert lab.at(old).end == "replaced"
    assert dict(lab.at(new).sides) == {"L": "press", "R": "dispense"}
    assert lab.row(new)["replaces_id"] == lab.row(old)["id"]
    with lab.database.reading() as db:
        bodies = db.exec(select(Prescription.body).order_by(col(Prescription.id))).all()
    assert bodies[0] == bodies[1]
    lab.walk(new, "dispense")
    assert lab.at(new).working == "LR"


def test_an_adjustment_at_the_lab_is_a_visit_with_a_route_of_its_own(lab: Lab) -> None:
    code = lab.order(by="quay clinician", clinic="quay")
    lab.walk(code, "wear_in", "quay clinician")
    clock.set_shift(timedelta(days=17))
    lab.act(code, "adjust", by="quay clinician", sides="R", facts={"where": "lab", "stages": ["cover"]})
    assert dict(lab.at(code).sides) == {"L": "send", "R": "return"}
    lab.walk(code, "wear_in", "quay clinician")
    with lab.database.reading() as db:
        visits = db.exec(select(Visit).order_by(col(Visit.number))).all()
        assert [(visit.number, visit.reason) for visit in visits] == [(1, "new"), (2, "adjustment")]
        assert db.exec(select(Move.visit_id).where(Move.act == "adjust")).one() == visits[1].id


def test_a_settled_pair_is_refurbished_and_settled_by_dispensing(lab: Lab) -> None:
    code = lab.order()
    lab.walk(code, "wear_in")
    lab.act(code, "settle", by="clinician")
    lab.act(code, "refurbish", by="clinician")
    assert lab.at(code).route == ("check_in", "cover", "trim", "dispense")
    lab.walk(code, "dispense")
    lab.act(code, "dispense", by="clinician")
    assert lab.at(code).end == "settled"


def test_a_wearer_moves_to_a_parcel_clinic_with_the_open_pair(lab: Lab) -> None:
    code = lab.order()
    lab.walk(code, "press")
    clinic = lab.house.clinics["quay"]
    lab.act(code, "transfer", by="manager", facts={"clinic": clinic})
    assert lab.at(code).route == (
        *("check_in", "pour", "press", "cover", "trim", "send", "receive", "dispense", "wear_in"),
    )
    with lab.database.reading() as db, pytest.raises(NotFound):
        queries.find(db, code, lab.house.viewer("clinician"))
    lab.walk(code, "dispense", "quay clinician")


def test_a_wearer_is_not_moved_while_a_pair_is_in_a_parcel(lab: Lab) -> None:
    code = lab.order(by="quay clinician", clinic="quay")
    lab.walk(code, "receive", "quay clinician")
    with pytest.raises(Unready, match="when it has arrived"):
        lab.act(code, "transfer", by="manager", facts={"clinic": lab.house.clinics["house"]})


def test_one_foot_alone_is_a_pair_with_one_side(lab: Lab) -> None:
    code = lab.order(sides="R")
    lab.walk(code, "dispense")
    with pytest.raises(BadInput, match="has right; 'L' is not part of it"):
        lab.act(code, "send_back", by="clinician", sides="L", to_stage="trim", reason="edges")
    assert dict(lab.at(code).sides) == {"R": "dispense"}


def test_acts_of_a_batch_are_told_apart(lab: Lab) -> None:
    code = lab.order()
    with lab.database.writing() as db:
        first = bench.move(db, code=code, asked=Asked("start", "check_in"), by=lab.house.viewer("technician"))
        second = bench.move(db, code=code, asked=Asked("put_down", "check_in"), by=lab.house.viewer("technician"))
    assert (first.state.version, second.state.version) == (2, 3)
    assert lab.row(code)["started_by"] is None
