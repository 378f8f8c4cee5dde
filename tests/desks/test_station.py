"""What a bench is told and what it may do: nothing of the wearer, each act once, also what was done a while ago."""

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from app import clock
from app.bench.rules import station
from app.bench.rules.station import Standing
from app.bench.tables import Move
from app.database import Database
from app.desks.queries import station as queries
from tests.bench.conftest import Lab
from tests.house import House
from tests.people.tablets import Benches

Person = Callable[[str], TestClient]
NOW = datetime.fromisoformat("2026-11-26T09:00:00+00:00")


@pytest.fixture
def lab(database: Database, house: House) -> Lab:
    return Lab(database, house)


@pytest.fixture
def code(lab: Lab) -> str:
    code = lab.order(label="MR 2210", wearer={"name": "Ada Fenn", "mass_kg": 80, "risks": ["diabetes"]})
    lab.walk(code, "press")
    return code


def sent(*acts: dict[str, Any], key: str = "one-scan-1", **more: Any) -> dict[str, Any]:
    return {"key": key, "acts": list(acts)} | more


def pressed(code: str, **more: Any) -> dict[str, Any]:
    return {"act": "advance", "code": code, "stage": "press"} | more


@pytest.mark.parametrize(
    ("standing", "bench", "kind", "words"),
    [
        (Standing("press", None, "lab", None, None, True), "press", "here", "again when it is pressed"),
        (Standing("press", None, "lab", None, None, True), "", "here", ""),
        (Standing("cover", None, "lab", None, None, True), "press", "elsewhere", "To cover"),
        (Standing("press", None, "lab", "clinic", None, True), "press", "parked", "waits on the clinic"),
        (Standing("press", None, "lab", None, NOW + timedelta(minutes=9), True), "press", "setting", "until 9:09"),
        (Standing("press", None, "lab", None, NOW, True), "press", "here", "pressed"),
        (Standing("receive", None, "way", None, None, True), "receive", "elsewhere", "on its way"),
        (Standing("press", None, "lab", None, None, False), "press", "refused", "not yours"),
        (Standing(None, "settled", "clinic", None, None, True), "press", "ended", "settled"),
        # The weightiest first: a parked pair at another stage stands still wherever it is scanned.
        (Standing("cover", None, "lab", "lab", None, True), "press", "parked", "Put it on its shelf"),
    ],
)
def test_an_answer_for_every_way_a_pair_can_stand(standing: Standing, bench: str, kind: str, words: str) -> None:
    found, sentence = station.answer(standing, bench, "9:09", NOW)
    assert found == kind
    assert words in sentence
    assert found in station.TONES


def test_a_bench_holds_what_its_stage_needs_and_nothing_of_the_wearer(browser: Person, code: str) -> None:
    held = browser("technician").get("/bench/held?stage=press")
    (pair,) = held.json()["pairs"]
    assert (pair["code"], pair["label"], pair["kind"], pair["ticket"]) == (code, "MR 2210", "here", 1)
    assert "polypropylene" in pair["needs"]
    for secret in ("Ada", "Fenn", "diabetes", "mass", "posture"):
        assert secret not in held.text


def test_a_clinician_s_bench_holds_the_own_clinics_pairs_alone(browser: Person, lab: Lab, code: str) -> None:
    assert browser("quay clinician").get(f"/bench/pair/{code}").status_code == 404
    assert browser("quay clinician").get("/bench/held?stage=press").json()["pairs"] == []
    assert browser("clinician").get(f"/bench/pair/{code}?stage=press").json()["kind"] == "refused", "the lab's work"


def test_an_act_is_done_once_however_often_it_is_sent(browser: Person, lab: Lab, code: str) -> None:
    technician = browser("technician")
    first = technician.post("/bench/acts", json=sent(pressed(code)))
    again = technician.post("/bench/acts", json=sent(pressed(code), seconds_ago=600))
    assert first.status_code == again.status_code == 200
    assert first.json() == again.json()
    assert "Pressed" in first.json()["sentence"]
    other = technician.post("/bench/acts", json=sent(pressed(code, sets_for=9)))
    assert other.status_code == 422, "the same key for something else"
    stranger = technician.post("/bench/acts", json=sent(pressed(code), key="another-0", staff=999))
    assert stranger.status_code == 401, "what another did waits for that person"
    late = browser("second technician").post("/bench/acts", json=sent(pressed(code), key="another-1"))
    assert late.status_code == 409
    assert "stands at 'To cover'" in late.json()["sentence"]


def test_what_was_done_a_while_ago_keeps_its_time(browser: Person, lab: Lab, database: Database, code: str) -> None:
    clock.set_shift(timedelta(hours=2))
    assert browser("technician").post("/bench/acts", json=sent(pressed(code), seconds_ago=3_600)).status_code == 200
    with database.reading() as db:
        move = db.exec(select(Move).order_by(Move.id.desc())).first()  # type: ignore[attr-defined]
    assert move is not None
    assert timedelta(minutes=59) < move.at - move.done_at < timedelta(minutes=61)


def test_a_tablet_s_wrong_clock_never_puts_an_act_before_the_last(
    browser: Person, lab: Lab, database: Database, code: str
) -> None:
    done = browser("technician").post("/bench/acts", json=sent(pressed(code), seconds_ago=86_400))
    assert done.status_code == 200
    with database.reading() as db:
        moves = db.exec(select(Move).order_by(Move.id)).all()  # type: ignore[arg-type]
    assert [move.done_at for move in moves] == sorted(move.done_at for move in moves)


def test_a_rack_is_one_act_and_says_of_each_that_may_not_why(browser: Person, lab: Lab, code: str) -> None:
    others = [lab.order(label=f"MR {n}") for n in range(3)]
    for each in others[:2]:
        lab.walk(each, "press")
    lab.act(others[1], "park", reason="machine", waiting_on="lab")
    rack = sent(*(pressed(each) for each in (code, *others)), key="a-rack-01")
    done = browser("technician").post("/bench/acts", json=rack).json()
    assert done["done"] == [code, others[0]]
    assert set(done["left"]) == {others[1], others[2]}
    assert "parked" in done["left"][others[1]].lower() or "stands still" in done["left"][others[1]].lower()
    assert [lab.at(each).stage for each in (code, *others)] == ["cover", "cover", "press", "check_in"]


def test_an_act_at_a_tablet_is_the_person_s_not_the_tablet_s(app: FastAPI, house: House, lab: Lab, code: str) -> None:
    tablet = Benches(app, house).signed_on("technician")
    page = tablet.get("/bench?stage=press").text
    assert "Press bench" in page
    assert tablet.get(f"/pair/{code}").status_code in (303, 401), "the sign-on is good below /bench alone"
    assert tablet.post("/bench/acts", json=sent(pressed(code))).status_code == 200
    assert lab.at(code).stage == "cover"
    with lab.database.reading() as db:
        assert db.exec(select(Move.staff_id).order_by(Move.id.desc())).first() == house.people["technician"]  # type: ignore[attr-defined]
    tablet.post("/bench/lock")
    assert tablet.post("/bench/acts", json=sent(pressed(code), key="replayed-1")).status_code == 401


def test_the_day_of_a_bench_counts_what_waits_and_what_was_done(browser: Person, lab: Lab, code: str) -> None:
    technician = browser("technician")
    technician.post("/bench/acts", json=sent(pressed(code)))
    other = lab.order(label="MR 7")
    lab.walk(other, "press")
    with lab.database.reading() as db:
        day = queries.day(db, lab.house.viewer("technician"), "press")
    assert (day.waiting, day.done, day.oven) == (1, 1, "2 × polypropylene 4.0\u00a0mm")
