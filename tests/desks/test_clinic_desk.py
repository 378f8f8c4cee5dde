"""The clinician's first page: what the lab asks, what has come, who is due, what comes late, of the own clinics."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient

from app import clock
from app.database import Database
from tests.bench.conftest import Lab
from tests.house import House

Browser = Callable[[str], TestClient]


@pytest.fixture
def lab(database: Database, house: House) -> Lab:
    return Lab(database, house)


def part(page: str, title: str) -> str:
    """What stands below this title, up to the next one."""
    below = page.partition(f"<h2>{title} ")[2]
    return below.partition("</section>")[0]


def test_questions_stand_first_with_what_they_stop(browser: Browser, lab: Lab) -> None:
    now, later = lab.order(label="MR 1"), lab.order(label="MR 2")
    for code in (now, later):
        lab.walk(code, "press")
    lab.act(now, "ask", reason="Met pad on which side?")
    lab.act(later, "ask", reason="Which cover?", facts={"before": "cover"})
    lab.act(lab.order(label="MR 3"), "ask", reason="To the lab.", waiting_on="lab")
    questions = part(browser("clinician").get("/").text, "Questions from the lab")
    assert questions.index("Met pad on which side?") < questions.index("Which cover?")
    assert "stands still at To press" in questions
    assert "stops before To cover" in questions
    assert "To the lab." not in questions
    assert "Met pad" not in browser("quay clinician").get("/").text
    assert "Questions from the lab" not in browser("technician").get("/").text


def test_a_question_is_asked_for_later_and_answered_without_letting_go(browser: Browser, lab: Lab) -> None:
    code = lab.order()
    lab.walk(code, "pour")
    ask = {"act": "ask", "from_stage": "pour", "reason": "Which cover?", "before": "cover"}
    technician, clinician = browser("technician"), browser("clinician")
    assert 'value="cover"' in technician.get(f"/pair/{code}").text
    assert technician.post(f"/pair/{code}/acts", data=ask).status_code == 303
    assert "stops before To cover" in clinician.get(f"/pair/{code}").text
    answer = {"act": "answer", "from_stage": "pour", "reason": "I ask the wearer."}
    assert clinician.post(f"/pair/{code}/acts", data=answer | {"stays": "yes"}).status_code == 303
    assert len(lab.at(code).holds) == 1
    assert clinician.post(f"/pair/{code}/acts", data=answer).status_code == 303
    assert lab.at(code).holds == ()


def test_what_has_come_today_and_what_comes_late(browser: Browser, lab: Lab) -> None:
    come, late = lab.order(label="MR 1"), lab.order(label="MR 2", wanted_on=clock.today(lab.house.zone))
    lab.walk(come, "dispense")
    lab.walk(late, "pour")
    desk = browser("clinician").get("/").text
    assert come in part(desk, "Come today")
    assert late in part(desk, "Comes late"), "promised later than it was wanted"
    assert come not in part(desk, "Comes late")


def test_who_was_due_for_a_review_is_overdue_the_day_after(browser: Browser, lab: Lab) -> None:
    code = lab.order()
    lab.walk(code, "wear_in")
    clock.set_shift(timedelta(days=14))
    assert code in part(browser("clinician").get("/").text, "Reviews of these days")
    clock.set_shift(timedelta(days=16))
    assert code in part(browser("clinician").get("/").text, "Reviews overdue")


def test_the_agenda_has_each_review_on_its_day_and_the_appointment_goes_before_the_due_day(
    browser: Browser, lab: Lab
) -> None:
    code = lab.order(label="MR 77")
    lab.walk(code, "wear_in")
    due = clock.today(lab.house.zone) + timedelta(days=14)
    clinician = browser("clinician")
    page = clinician.get("/reviews/agenda").text
    row = page[page.index(f"{due:%a} {due.day} {due:%b}") :]
    assert code in row.partition("</tr>")[0]
    assert "no time" in row.partition("</tr>")[0]
    moved = due + timedelta(days=7 if due.weekday() < 5 else 9)
    form = {"act": "book", "from_stage": "wear_in", "what": "review", "at": f"{moved}T10:30"}
    assert clinician.post(f"/pair/{code}/acts", data=form).status_code == 303
    page = clinician.get("/reviews/agenda").text
    row = page[page.index(f"{moved:%a} {moved.day} {moved:%b}") :].partition("</tr>")[0]
    assert "10:30" in row
    assert code in row
    assert code not in browser("quay clinician").get("/reviews/agenda").text
    assert clinician.get("/reviews/agenda?start=soon").status_code == 422
    assert clinician.get(f"/reviews/agenda?clinic={lab.house.clinics['quay']}").status_code == 404
