"""The page of flags: who sees which, what is said to them, and what it costs."""

from collections.abc import Callable
from datetime import UTC, timedelta
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import event
from sqlmodel import col, select

from app.bench import actions as bench
from app.bench.rules.machine import Asked
from app.capture import actions as capture
from app.journal.tables import Entry, Note
from app.watch import actions
from app.watch.tables import FlagNote
from tests.watch.conftest import START, WatchedLab

Person = Callable[[str], TestClient]


def said_to(lab: WatchedLab, code: str, kind: str, **more: str) -> dict[str, str]:
    """The form of a flag, as its page has it."""
    (flag,) = [each.flag for each in lab.raised(code) if each.flag.kind == kind]
    since = flag.since.astimezone(UTC).isoformat()
    return {"kind": kind, "pair": code, "arrival": "", "since": since, "act": "acknowledge", "reason": ""} | more


def test_a_flag_says_what_why_since_when_and_what_to_do_and_leads_to_its_pair(browser: Person, lab: WatchedLab) -> None:
    code = lab.ready()
    assert "No flags" in browser("clinician").get("/flags").text
    lab.pass_days(1)
    page = browser("clinician").get("/flags").text
    for words in (
        "Ready, not told",
        "Ready at the clinic, and the wearer does not know.",
        "It has been there since Mon 11 Jan",
        "Tell the wearer and book the fitting.",
        "1 working day from ready at the clinic until the wearer is told",
        f'href="/pair/{code}"',
        "MR 2210",
        "Harbour Steps",
    ):
        assert words in page


def test_a_clinician_sees_the_own_clinics_the_bench_what_is_its_own_and_a_manager_all(
    browser: Person, lab: WatchedLab
) -> None:
    worn = lab.worn(label="W 1")
    lab.act(worn, "note_request", by="clinician", reason="numb toes", facts={"red_flags": ["numbness"]})
    stuck = lab.order("quay clinician", clinic="quay", label="Q 1")
    lab.walk(stuck, "press")
    lab.pass_days(3)
    seen = {who: browser(who).get("/flags").text for who in ("clinician", "quay clinician", "technician", "manager")}
    assert {who for who, page in seen.items() if worn in page} == {"clinician", "manager"}
    assert {who for who, page in seen.items() if stuck in page} == {"quay clinician", "technician", "manager"}
    assert "numbness" not in seen["technician"], "what is told of a wearer is not for the bench"
    assert "Acknowledge" not in seen["technician"], "a flag is answered by clinicians and managers"
    assert seen["manager"].index("Red flag reported") < seen["manager"].index("No move for too long")


def test_an_arrival_of_a_known_clinic_is_its_clinicians_business_too(browser: Person, lab: WatchedLab) -> None:
    with lab.database.writing() as db:
        technician, clinic = lab.house.viewer("technician"), lab.house.clinics["quay"]
        capture.log_arrival(db, by=technician, kind="foam", sides="LR", label="known", clinic_id=clinic)
        capture.log_arrival(db, by=technician, kind="foam", sides="LR", label="unsigned")
    lab.pass_days(1)
    assert "known" in browser("quay clinician").get("/flags").text
    assert "unsigned" not in browser("quay clinician").get("/flags").text
    assert "No flags" in browser("clinician").get("/flags").text
    page = browser("technician").get("/flags").text
    assert "known" in page
    assert "unsigned" in page


def test_a_flag_is_put_off_to_a_day_and_is_back_on_it(browser: Person, lab: WatchedLab) -> None:
    code = lab.ready()
    lab.pass_days(1)
    clinician = browser("clinician")
    form = said_to(lab, code, "ready_not_told", act="put_off", until="2027-01-14", reason="the wearer is away")
    assert clinician.post("/flags", data=form).status_code == 303
    page = clinician.get("/flags").text
    assert "Ready at the clinic" not in page
    assert "until Thu 14 Jan by Clinician. the wearer is away" in page
    lab.at_time(START + timedelta(days=2, hours=14))
    assert lab.kinds(code) == set(), "Wednesday, late at night"
    lab.at_time(START + timedelta(days=3, hours=-8))
    assert lab.kinds(code) == {"ready_not_told"}, "Thursday at one in the morning"


def test_an_acknowledged_flag_stays_away_until_it_begins_anew(browser: Person, lab: WatchedLab) -> None:
    code = lab.order()
    lab.walk(code, "press")
    lab.pass_days(3)
    form = said_to(lab, code, "no_move", reason="the press is being mended")
    assert browser("clinician").post("/flags", data=form).status_code == 303
    lab.pass_days(10)
    assert lab.kinds(code) == set()
    lab.record_starts()
    lab.act(code, "start")
    lab.pass_days(7)
    assert "no_move" in lab.kinds(code), "it was touched and lies again: this is another flag"
    again = said_to(lab, code, "no_move", reason="on holiday")
    assert browser("manager").post("/flags", data=again).status_code == 303
    with lab.database.reading() as db:
        assert len(db.exec(select(FlagNote)).all()) == 1, "the last word holds; the earlier one is in the journal"
        entries = db.exec(select(Entry).where(Entry.what == "flag_acknowledged").order_by(col(Entry.id))).all()
        assert [(entry.subject, entry.staff_id, entry.facts["kind"]) for entry in entries] == [
            ("pair", lab.house.people["clinician"], "no_move"),
            ("pair", lab.house.people["manager"], "no_move"),
        ]
        notes = [db.get_one(Note, entry.facts["note"]) for entry in entries]
        assert [note.words for note in notes] == ["the press is being mended", "on holiday"]
        assert all(note.patient_id for note in notes), "erasure of the wearer reaches them"


def test_an_arrival_s_flag_is_answered_by_whom_it_concerns(browser: Person, lab: WatchedLab) -> None:
    with lab.database.writing() as db:
        arrival = capture.log_arrival(db, by=lab.house.viewer("technician"), kind="foam", sides="LR").id
    lab.pass_days(1)
    (flag,) = [each.flag for each in lab.raised()]
    form = {"kind": flag.kind, "pair": "", "arrival": arrival, "since": flag.since.isoformat(), "reason": "asked"}
    assert browser("technician").post("/flags", data=form).status_code == 403
    assert browser("manager").post("/flags", data=form | {"arrival": arrival + 1}).status_code == 404
    assert browser("manager").post("/flags", data=form).status_code == 303
    assert lab.kinds() == set()


@pytest.mark.parametrize(
    ("typed", "field", "sentence"),
    [
        ({"reason": " "}, "reason", "Give the reason"),
        ({"act": "put_off", "reason": "away"}, "until", "Choose the day"),
        ({"act": "put_off", "reason": "away", "until": "tomorrow"}, "until", "Choose the day"),
        ({"act": "put_off", "reason": "away", "until": "2027-01-12"}, "until", "from tomorrow up to 60 days"),
        ({"act": "put_off", "reason": "away", "until": "2027-03-14"}, "until", "from tomorrow up to 60 days"),
    ],
)
def test_what_is_missing_is_named_at_its_field_and_nothing_typed_is_lost(
    browser: Person, lab: WatchedLab, typed: dict[str, str], field: str, sentence: str
) -> None:
    code = lab.ready()
    lab.pass_days(1)
    answer = browser("clinician").post("/flags", data=said_to(lab, code, "ready_not_told", **typed))
    assert answer.status_code == 422
    assert f'href="#f-{field}"' in answer.text
    assert f'id="f-{field}-error"' in answer.text
    assert sentence in answer.text
    assert typed["reason"] in answer.text
    assert lab.kinds(code) == {"ready_not_told"}


def test_the_last_day_that_a_flag_can_be_put_off_to_is_taken(browser: Person, lab: WatchedLab) -> None:
    code = lab.ready()
    lab.pass_days(1)
    form = said_to(lab, code, "ready_not_told", act="put_off", until="2027-03-13", reason="a long journey")
    assert browser("clinician").post("/flags", data=form).status_code == 303


def test_a_flag_of_another_clinic_of_no_kind_or_of_another_beginning_is_not_there(
    browser: Person, lab: WatchedLab
) -> None:
    code = lab.ready()
    lab.pass_days(1)
    form = said_to(lab, code, "ready_not_told", reason="away")
    assert browser("quay clinician").post("/flags", data=form).status_code == 404
    assert browser("technician").post("/flags", data=form).status_code == 403
    mine = browser("clinician")
    for wrong in (
        {"kind": "no_move"},
        {"kind": "rain"},
        {"since": "2027-01-01T00:00:00"},
        {"since": "x"},
        {"pair": "x"},
    ):
        assert mine.post("/flags", data=form | wrong).status_code == 404
    assert mine.get("/flags?kind=rain").status_code == 404
    with lab.database.reading() as db:
        assert db.exec(select(FlagNote)).all() == []


def test_a_kind_with_many_flags_has_pages_of_its_own(browser: Person, lab: WatchedLab) -> None:
    codes = {lab.ready(label=f"M {number}") for number in range(12)}
    lab.pass_days(1)
    page = browser("clinician").get("/flags").text
    assert sum(f'href="/pair/{code}"' in page for code in codes) == 10
    assert "All 12 of" in page
    one = browser("clinician").get("/flags?kind=ready_not_told").text
    assert all(f'href="/pair/{code}"' in one for code in codes)
    rest = browser("clinician").get("/flags?kind=ready_not_told&start=10").text
    assert sum(f'href="/pair/{code}"' in rest for code in codes) == 2


def test_programs_get_the_same_flags(program: Person, lab: WatchedLab) -> None:
    code = lab.ready()
    lab.order("quay clinician", clinic="quay")
    lab.pass_days(7)
    (item,) = program("clinician").get("/api/v1/flags").json()["items"]
    assert (item["kind"], item["code"], item["acknowledged"]) == ("ready_not_told", code, False)
    assert {"what", "why", "since", "do", "limit", "label", "clinic"} <= set(item)
    everything = program("manager").get("/api/v1/flags").json()["items"]
    assert [each["kind"] for each in everything] == ["capture_missing", "ready_not_told"]
    assert program("technician").get("/api/v1/flags", params={"kind": "ready_not_told"}).json() == {"items": []}


def test_programs_are_told_what_was_answered_if_they_ask(browser: Person, program: Person, lab: WatchedLab) -> None:
    code = lab.ready()
    lab.pass_days(1)
    form = said_to(lab, code, "ready_not_told", act="put_off", until="2027-01-14", reason="away")
    browser("clinician").post("/flags", data=form)
    assert program("clinician").get("/api/v1/flags").json() == {"items": []}
    (item,) = program("clinician").get("/api/v1/flags", params={"answered": True}).json()["items"]
    assert (item["put_off_until"], item["acknowledged"]) == ("2027-01-14", False)


def test_the_page_asks_as_many_questions_of_the_database_for_thirty_pairs_as_for_three(
    app: FastAPI, browser: Person, lab: WatchedLab
) -> None:
    def some_of_everything(number: int) -> None:
        lab.ready(label=f"R {number}")
        worn = lab.worn(label=f"W {number}", wearer={"born_year": 2018})
        lab.act(worn, "note_request", by="clinician", reason="it presses")
        lab.order(label=f"O {number}")
        parked = lab.order(label=f"P {number}")
        lab.act(parked, "advance", facts={"belongings": ["shoes"]})
        lab.act(parked, "park", reason="material", waiting_on="supplier")
        gone = lab.order(label=f"G {number}")
        lab.act(gone, "advance", facts={"belongings": ["liners"]})
        lab.act(gone, "withdraw", by="clinician", reason="moved", facts={"code": gone})

    def questions() -> int:
        asked: list[Any] = []
        manager = browser("manager")

        def count(*_: Any) -> None:
            asked.append(1)

        event.listen(app.state.database.engine, "before_cursor_execute", count)
        try:
            assert manager.get("/flags").status_code == 200
        finally:
            event.remove(app.state.database.engine, "before_cursor_execute", count)
        return len(asked)

    some_of_everything(0)
    lab.pass_days(40)
    few = questions()
    for number in range(1, 6):
        some_of_everything(number)
    lab.pass_days(40)
    assert questions() == few
    assert few <= 20


def test_a_taken_back_dispensing_leaves_no_flag_of_wearing(lab: WatchedLab) -> None:
    code = lab.worn()
    lab.act(code, "take_back", by="clinician")
    lab.pass_days(2)
    assert lab.kinds(code) == {"ready_not_told"}


def test_saying_something_to_a_flag_is_kept_whole_or_not_at_all(lab: WatchedLab) -> None:
    """A move that fails in the same transaction takes the word to the flag back with it."""
    code = lab.ready()
    lab.pass_days(1)
    (flag,) = [each.flag for each in lab.raised(code)]
    with pytest.raises(Exception, match="stands at"), lab.database.writing() as db:
        by = lab.house.viewer("clinician")
        actions.acknowledge(db, by=by, kind=flag.kind, pair=code, since=flag.since, reason="away")
        bench.move(db, code=code, asked=Asked("advance", "press"), by=by)
    with lab.database.reading() as db:
        assert db.exec(select(FlagNote)).all() == []
        assert db.exec(select(Entry).where(Entry.what == "flag_acknowledged")).all() == []
    assert lab.kinds(code) == {"ready_not_told"}
