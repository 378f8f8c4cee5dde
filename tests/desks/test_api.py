"""The trail for programs: what DESIGN fixes of orders, pairs, acts and their errors, over HTTP."""

from collections.abc import Callable
from typing import Any

import httpx2
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from tests.house import FITS, House

Program = Callable[[str], TestClient]
SIDE = {"shell": "polypropylene", "shell_thickness": 40}


def order_body(house: House, **more: Any) -> dict[str, Any]:
    body = {
        "clinic_id": house.clinics["house"],
        "label": "MR 2210",
        "way": "cast",
        "captures": {"L": "slipper_plaster", "R": "foam"},
        "prescription": {"L": SIDE, "R": SIDE},
    }
    return body | more


@pytest.fixture
def code(program: Program, house: House) -> str:
    answer = program("clinician").post("/api/v1/orders", json=order_body(house))
    assert answer.status_code == 201, answer.text
    return str(answer.json()["code"])


def act(client: TestClient, code: str, **body: Any) -> httpx2.Response:
    headers = {"Idempotency-Key": key} if (key := body.pop("key", None)) else {}
    return client.post(f"/api/v1/pairs/{code}/acts", json=body, headers=headers)


def test_a_pair_goes_from_order_to_settled_through_the_api_alone(program: Program, code: str) -> None:
    technician, clinician = program("technician"), program("clinician")
    for stage in ("check_in", "pour", "press", "cover", "trim"):
        answer = act(technician, code, act="advance", from_stage=stage)
        assert answer.status_code == 200, answer.text
    dispensed = act(clinician, code, act="dispense", from_stage="dispense", facts=FITS["LR"])
    assert dispensed.json()["stage"] == "wear_in", dispensed.text
    settled = act(clinician, code, act="settle", from_stage="wear_in").json()
    assert (settled["stage"], settled["end"]) == (None, "settled")
    pair = clinician.get(f"/api/v1/pairs/{code}").json()
    assert [move["act"] for move in pair["moves"]] == ["order", *["advance"] * 5, "dispense", "settle"]
    assert pair["version"] == 8


def test_an_order_answers_where_the_pair_is(program: Program, house: House) -> None:
    answer = program("clinician").post("/api/v1/orders", json=order_body(house, wanted_on="2027-03-01"))
    code = answer.json()["code"]
    assert answer.headers["location"] == f"/api/v1/pairs/{code}"
    pair = program("technician").get(f"/api/v1/pairs/{code}").json()
    assert pair["stage"] == "check_in"
    assert pair["sides"] == {"L": "check_in", "R": "check_in"}
    assert pair["route"] == ["check_in", "pour", "press", "cover", "trim", "dispense", "wear_in"]
    assert (pair["place"], pair["parked"], pair["wanted_on"]) == ("lab", None, "2027-03-01")
    assert pair["visit"] == {"number": 1, "reason": "new"}


def test_the_same_key_twice_acts_once_and_answers_the_same_twice(program: Program, code: str) -> None:
    technician = program("technician")
    first = act(technician, code, act="advance", from_stage="check_in", key="scan-1")
    second = act(technician, code, act="advance", from_stage="check_in", key="scan-1")
    assert first.json() == second.json()
    assert technician.get(f"/api/v1/pairs/{code}").json()["stage"] == "pour"


def test_a_key_with_another_body_is_refused(program: Program, code: str) -> None:
    technician = program("technician")
    act(technician, code, act="advance", from_stage="check_in", key="scan-1")
    answer = act(technician, code, act="advance", from_stage="pour", key="scan-1")
    assert answer.status_code == 422
    assert "already used for a different request" in answer.json()["detail"]


def test_a_refused_act_does_not_use_its_key_up(program: Program, code: str) -> None:
    technician = program("technician")
    assert act(technician, code, act="advance", from_stage="press", key="k").status_code == 409
    assert act(technician, code, act="advance", from_stage="check_in", key="k").status_code == 200


def test_an_order_sent_twice_makes_one_pair(program: Program, house: House) -> None:
    clinician = program("clinician")
    answers = [
        clinician.post("/api/v1/orders", json=order_body(house), headers={"Idempotency-Key": "order-7"}) for _ in "ab"
    ]
    assert answers[0].json() == answers[1].json()
    assert answers[1].status_code == 201
    assert len(clinician.get("/api/v1/pairs").json()["items"]) == 1


def test_a_pair_that_is_elsewhere_answers_409_with_where_it_is_and_who_moved_it(program: Program, code: str) -> None:
    act(program("technician"), code, act="advance", from_stage="check_in")
    answer = act(program("second technician"), code, act="advance", from_stage="check_in")
    problem = answer.json()
    assert answer.status_code == 409
    assert answer.headers["content-type"] == "application/problem+json"
    assert (problem["stage"], problem["version"], problem["moved_by"]) == ("pour", 2, "Technician")
    assert "stands at 'To pour'" in problem["detail"]


def test_a_version_that_is_not_the_pair_s_is_refused(program: Program, code: str) -> None:
    answer = act(program("technician"), code, act="advance", from_stage="check_in", version=7)
    assert answer.status_code == 409


def test_another_clinic_s_pair_is_not_found_and_another_role_s_act_not_allowed(program: Program, code: str) -> None:
    assert program("quay clinician").get(f"/api/v1/pairs/{code}").status_code == 404
    assert act(program("quay clinician"), code, act="advance", from_stage="check_in").status_code == 404
    act(program("technician"), code, act="advance", from_stage="check_in")
    assert act(program("clinician"), code, act="advance", from_stage="pour").status_code == 403


def test_one_orders_for_the_own_clinics_only(program: Program, house: House) -> None:
    body = order_body(house, clinic_id=house.clinics["quay"])
    assert program("clinician").post("/api/v1/orders", json=body).status_code == 404
    assert program("technician").post("/api/v1/orders", json=order_body(house)).status_code == 403


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"way": "moulded"}, "way"),
        ({"label": "  "}, "label"),
        ({"captures": {"L": "photo", "R": "foam"}}, "captures.L"),
        ({"prescription": {"L": SIDE, "R": {"shell": "polypropylene"}}}, "R.shell_thickness"),
        ({"prescription": {"L": SIDE, "R": SIDE | {"shell_thickness": 4}}}, "R.shell_thickness"),
        ({"prescription": {"L": SIDE, "R": SIDE | {"colour": "red"}}}, "R.colour"),
        ({"wanted_on": "soon"}, "wanted_on"),
        ({"stage_notes": {"paint": "blue"}}, "stage_notes.paint"),
    ],
)
def test_a_wrong_order_names_the_field_and_makes_nothing(
    program: Program, house: House, more: dict[str, Any], field: str
) -> None:
    clinician = program("clinician")
    answer = clinician.post("/api/v1/orders", json=order_body(house, **more))
    assert answer.status_code == 422, answer.text
    assert field in answer.json()["fields"]
    assert clinician.get("/api/v1/pairs").json()["items"] == []


def test_the_prescriber_is_a_clinician_of_the_clinic(program: Program, house: House) -> None:
    for who in ("quay clinician", "technician"):
        body = order_body(house, prescriber_id=house.people[who])
        answer = program("clinician").post("/api/v1/orders", json=body)
        assert answer.status_code == 422
        assert "prescriber_id" in answer.json()["fields"]


@pytest.mark.parametrize("number", [2**31, 2**63, 10**30])
def test_a_number_that_no_row_can_have_is_refused_and_not_our_fault(program: Program, number: int) -> None:
    answer = program("quay clinician").post(f"/api/v1/parcels/{number}/arrival", json={})
    assert answer.status_code in (404, 422), answer.text


def test_everything_wrong_with_an_act_is_named_at_once(program: Program, code: str) -> None:
    technician = program("technician")
    act(technician, code, act="advance", from_stage="check_in")
    problem = act(technician, code, act="send_back", from_stage="pour").json()
    assert set(problem["fields"]) == {"sides", "to_stage", "reason"}


@pytest.mark.parametrize(("what", "where"), [("order", "/orders"), ("amend", "/prescription")])
def test_an_act_that_needs_more_says_where_to_send_it(program: Program, code: str, what: str, where: str) -> None:
    answer = act(program("clinician"), code, act=what, from_stage="check_in")
    assert answer.status_code == 422
    assert where in answer.json()["detail"]
    assert program("clinician").get(f"/api/v1/pairs/{code}").json()["version"] == 1


def test_without_a_token_or_with_an_ended_one_nothing_is_told(app: FastAPI, program: Program, code: str) -> None:
    with TestClient(app, base_url="http://127.0.0.1") as nobody:
        answer = nobody.get(f"/api/v1/pairs/{code}")
        assert answer.status_code == 401
        assert answer.headers["www-authenticate"] == "Bearer"
        assert nobody.get("/api/v1/pairs", headers={"authorization": "Bearer wrong"}).status_code == 401


@pytest.mark.parametrize("headers", [{}, {"authorization": "Bearer wrong"}, {"authorization": "Basic eA=="}])
@pytest.mark.parametrize("body", ["{", "{}", '{"act": 7, "what": "?"}'])
def test_whoever_is_unknown_does_not_learn_what_a_body_should_have_been(
    app: FastAPI, code: str, headers: dict[str, str], body: str
) -> None:
    with TestClient(app, base_url="http://127.0.0.1") as nobody:
        answer = nobody.post(f"/api/v1/pairs/{code}/acts", content=body, headers=headers)
    assert answer.status_code == 401
    assert "fields" not in answer.json()


def test_a_queue_is_paged_in_the_order_to_work(program: Program, house: House) -> None:
    clinician = program("clinician")
    for day in (3, 1, 2, 1):
        body = order_body(house, label=f"P {day}", wanted_on=f"2027-03-0{day}")
        assert clinician.post("/api/v1/orders", json=body).status_code == 201
    seen: list[str] = []
    after: str | None = None
    while True:
        params: dict[str, Any] = {"stage": "check_in", "limit": 1} | ({"after": after} if after else {})
        answer = clinician.get("/api/v1/pairs", params=params)
        page = answer.json()
        seen += [item["label"] for item in page["items"]]
        after = page["next"]
        if after is None:
            break
    assert seen == ["P 1", "P 1", "P 2", "P 3"]


def test_a_cursor_of_one_s_own_making_is_refused(program: Program) -> None:
    answer = program("technician").get("/api/v1/pairs", params={"stage": "press", "after": "abc"})
    assert answer.status_code == 422


def test_queues_count_what_waits(program: Program, code: str) -> None:
    items = program("technician").get("/api/v1/queues").json()["items"]
    assert [(item["stage"], item["pairs"], item["parked"]) for item in items] == [("check_in", 1, 0)]


def test_a_parked_pair_says_why_whom_it_waits_on_and_since_when(program: Program, code: str) -> None:
    technician = program("technician")
    act(technician, code, act="ask", from_stage="check_in", reason="Is this the left foot?")
    parked = technician.get(f"/api/v1/pairs/{code}").json()["parked"]
    assert parked["reason"] == "Is this the left foot?"
    assert parked["waiting_on"] == "clinic"
    assert parked["since"]
    answered = act(program("clinician"), code, act="answer", from_stage="check_in", reason="Yes")
    assert answered.status_code == 200
    assert technician.get(f"/api/v1/pairs/{code}").json()["parked"] is None
