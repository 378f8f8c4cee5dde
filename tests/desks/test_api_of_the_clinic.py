"""What a clinic's own program does beside orders and acts: drafts, starts, second pairs, stance, notes from at home."""

from collections.abc import Callable
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from app.database import Database
from app.fitting import actions as fitting
from app.people.tables import Clinic
from tests.bench.conftest import SIDE, Lab
from tests.house import House

Program = Callable[[str], TestClient]
BODY = {"L": dict(SIDE), "R": dict(SIDE)}
FIELDS = {"label": "MR 2212", "way": "cast", "sides": "LR", "L.shell": "eva", "L.additions": ["met_pad"]}


@pytest.fixture
def lab(app: FastAPI, database: Database, house: House) -> Lab:
    """The lab of the app that is asked, for telling what happened before."""
    return Lab(database, house)


def draft(house: House, **more: Any) -> dict[str, Any]:
    return {"draft": "begun-at-sea", "clinic_id": house.clinics["house"], "fields": FIELDS} | more


def test_a_draft_of_a_program_is_gone_on_with_in_the_form_and_seen_by_nobody_else(
    program: Program, browser: Program, house: House
) -> None:
    clinician = program("clinician")
    for _ in range(2):
        assert clinician.post("/api/v1/drafts", json=draft(house)).json() == {"draft": "begun-at-sea", "kept": True}
    (mine,) = clinician.get("/api/v1/drafts").json()["items"]
    assert (mine["label"], mine["sides"]) == ("MR 2212", "LR")
    fields = clinician.get("/api/v1/drafts/begun-at-sea").json()["fields"]
    assert fields == FIELDS | {"clinic_id": str(house.clinics["house"])}
    form = browser("clinician").get("/orders/new?draft=begun-at-sea").text
    assert 'value="MR 2212"' in form
    for other in ("practitioner", "quay clinician"):
        assert program(other).get("/api/v1/drafts").json() == {"items": []}
        assert program(other).get("/api/v1/drafts/begun-at-sea").status_code == 404
    assert clinician.delete("/api/v1/drafts/begun-at-sea").json()["kept"] is False
    late = clinician.post("/api/v1/drafts", json=draft(house, fields=FIELDS | {"rush": "on its way still"}))
    assert late.json()["kept"] is False, "what was thrown away does not come back with a late request"
    listed = clinician.post("/api/v1/drafts", json=draft(house, draft="begun-again", fields={"label": ["MR"]}))
    assert listed.json()["fields"] == {"fields.label": "'label' is one text, no list."}


def test_a_start_is_the_clinic_s_or_one_s_own(program: Program, house: House) -> None:
    clinician, colleague, quay = program("clinician"), program("practitioner"), program("quay clinician")
    start = {"name": "Walking shoe", "way": "cast", "prescription": BODY}
    key = {"Idempotency-Key": "start-1"}
    shared = start | {"clinic_id": house.clinics["house"]}
    kept = [clinician.post("/api/v1/starts", json=shared, headers=key).json()["start"] for _ in range(2)]
    assert kept[0] == kept[1]
    assert clinician.post("/api/v1/starts", json=start | {"name": "Mine"}).status_code == 201
    names = [row["name"] for row in clinician.get("/api/v1/starts").json()["items"]]
    assert names == ["Mine", "Walking shoe"]
    (seen,) = colleague.get("/api/v1/starts").json()["items"]
    assert (seen["start"], seen["prescription"]) == (kept[0], BODY)
    assert quay.get("/api/v1/starts").json() == {"items": []}
    assert quay.delete(f"/api/v1/starts/{kept[0]}").status_code == 404
    assert colleague.delete(f"/api/v1/starts/{kept[0]}").status_code == 200
    assert clinician.delete(f"/api/v1/starts/{kept[0]}").status_code == 404


def test_a_second_pair_is_pressed_over_the_positives_that_are_kept(program: Program, lab: Lab) -> None:
    clinician, first = program("clinician"), lab.order(shoe={"kind": "walking"})
    lab.walk(first, "wear_in")
    thinner = {side: items | {"cover_thickness": 15} for side, items in BODY.items()}
    key = {"Idempotency-Key": "second-1"}
    sent = {"prescription": thinner}
    answers = [clinician.post(f"/api/v1/pairs/{first}/second", json=sent, headers=key) for _ in range(2)]
    assert answers[0].status_code == 201, answers[0].text
    assert answers[0].json() == answers[1].json(), "the same key orders once"
    second = answers[0].json()["code"]
    assert answers[0].headers["location"] == f"/api/v1/pairs/{second}"
    assert (answers[0].json()["stage"], lab.at(second).stage) == ("press", "press")
    assert lab.row(second)["label"] == lab.row(first)["label"]
    assert len(clinician.get("/api/v1/pairs").json()["items"]) == 2
    other_route = clinician.post(f"/api/v1/pairs/{first}/second", json={"way": "direct"})
    assert list(other_route.json()["fields"]) == ["way"]
    assert program("quay clinician").post(f"/api/v1/pairs/{first}/second", json={}).status_code == 404


def test_a_second_pair_is_asked_the_checks_as_an_order_is(program: Program, lab: Lab) -> None:
    clinician, first = program("clinician"), lab.order()
    lab.walk(first, "wear_in")
    heavy = {"prescription": {side: items | {"shell_thickness": 20} for side, items in BODY.items()}}
    lifted = {"prescription": {side: items | {"heel_lift": 180} for side, items in heavy["prescription"].items()}}
    refused = clinician.post(f"/api/v1/pairs/{first}/second", json=lifted)
    assert refused.status_code == 422
    found = refused.json()["findings"]
    assert "lift.L" in {each["key"] for each in found}
    seen = {"acknowledged": [each["key"] for each in found if each["level"] != "stop"]}
    signed = {"signed": {each["key"]: "Agreed with the wearer." for each in found if each["level"] == "stop"}}
    assert clinician.post(f"/api/v1/pairs/{first}/second", json=lifted | seen | signed).status_code == 201


def test_stance_is_noted_corrected_and_read_with_its_figures(program: Program, lab: Lab) -> None:
    clinician, code = program("clinician"), lab.order()
    lab.walk(code, "dispense")
    address = f"/api/v1/pairs/{code}/stance"
    angles = {"kind": "angles", "sides": {"L": {"leg_deg": -6, "heel_deg": 7}}}
    arch = {"kind": "arch", "sides": {"R": {"dorsum": 610, "truncated": 1860}}}
    (wrong,) = clinician.post(address, json=angles).json()["measures"]
    assert clinician.post(address, json=angles).json() == {"measures": []}, "said again, nothing is written"
    assert clinician.post(address, json=arch).status_code == 201
    again = angles | {"corrects": wrong, "sides": {"L": {"leg_deg": -6, "heel_deg": 9.5}}}
    assert clinician.post(address, json=again).status_code == 201
    rows = {(row["kind"], row["corrected"]): row for row in clinician.get(address).json()["items"]}
    assert rows["angles", True]["measure"] == wrong
    assert rows["angles", False]["corrects"] == wrong
    assert rows["angles", False]["figures"] == {"leg_deg": -6, "heel_deg": 9.5, "heel_to_leg_deg": 15.5}
    assert rows["arch", False]["figures"]["index"] == pytest.approx(61 / 186, abs=0.001)
    unknown = clinician.post(address, json={"kind": "posture", "sides": {"L": {"heel": 1}}})
    assert list(unknown.json()["fields"]) == ["sides.L.heel"]
    assert program("technician").get(address).status_code == 403
    too_early = lab.order(label="MR 8")
    assert clinician.post(f"/api/v1/pairs/{too_early}/stance", json=angles).status_code == 409


def test_a_program_reads_what_the_wearer_noted_and_whether_it_holds_the_hours(program: Program, lab: Lab) -> None:
    clinician, code = program("clinician"), lab.order()
    lab.walk(code, "wear_in")
    by = lab.house.viewer("clinician")
    with lab.database.writing() as db:
        own = db.get_one(Clinic, lab.house.clinics["house"])
        own.wearer_pages, own.phone = True, "01 555 020"
        db.flush()
        secret = fitting.give_page(db, code=code, by=by)
        for name, value in (("minutes", "60"), ("comfort", "3"), ("skin", "red_flag")):
            fitting.note(db, secret=secret, address="", name=name, value=value)
    notes = clinician.get(f"/api/v1/pairs/{code}/notes").json()
    (today,) = notes["items"]
    assert notes["held"] is True
    assert (today["day"], today["minutes"], today["comfort"], today["red_flag"]) == (1, 60, 3, True)
    with lab.database.writing() as db:
        fitting.clear_notes(db, code=code, by=by)
    cleared = clinician.get(f"/api/v1/pairs/{code}/notes").json()
    assert (cleared["held"], cleared["items"][0]["cleared_on"]) == (False, today["on"])
    assert program("technician").get(f"/api/v1/pairs/{code}/notes").status_code == 403
