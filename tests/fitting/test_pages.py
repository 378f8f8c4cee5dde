"""The forms of the pair page as a browser without JavaScript sends them, and the list of reviews."""

import re
from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import col, select

from app.fitting.tables import Adjustment, FitCheck, Recheck, Review
from tests.bench.conftest import Lab

OnDay = Callable[[date], None]
Browser = Callable[[str], TestClient]
DISPENSED, DUE = date(2027, 3, 3), date(2027, 3, 17)
TICKS = ["neutral", "upright", "seated", "heel_down", "not_tight", "toe_room", "liner_out"]


@pytest.fixture
def ready(lab: Lab, on_day: OnDay) -> str:
    on_day(DISPENSED)
    code = lab.order()
    lab.walk(code, "dispense")
    return code


@pytest.fixture
def worn(lab: Lab, ready: str) -> str:
    lab.act(ready, "dispense", by="clinician")
    return ready


def filled(**more: Any) -> dict[str, Any]:
    form: dict[str, Any] = {
        "act": "dispense",
        "from_stage": "dispense",
        "confirmed": ["L", "R"],
        "fit.read_back": "yes",
        "sides_made": ["L", "R"],
        "plan.key": "hour",
        "plan.target_minutes": "240",
    }
    for side in ("L", "R"):
        form |= {f"fit.{side}.arch": "full", f"fit.{side}.cover": "ok", f"fit.{side}.ticks": TICKS}
    return form | more


def post(who: TestClient, code: str, form: dict[str, Any]) -> Any:
    return who.post(f"/pair/{code}/acts", data=form)


def test_a_clinician_dispenses_by_the_form(browser: Browser, lab: Lab, ready: str) -> None:
    clinician = browser("clinician")
    page = clinician.get(f"/pair/{ready}").text
    assert "Nothing but trimming is altered on the day of dispensing" in page
    assert "the review is due on Wed 17 Mar" in page
    answer = post(clinician, ready, filled(**{"fit.L.heel_with": "2"}))
    assert answer.status_code == 303, answer.text
    with lab.database.reading() as db:
        assert db.exec(select(FitCheck.answers)).one()["L"]["heel_with"] == 2.0
    page = clinician.get(f"/pair/{ready}").text
    assert "Today is day 1" in page
    assert "Review 1" in page


def test_a_check_with_a_fault_comes_back_as_it_was_filled_in(browser: Browser, lab: Lab, ready: str) -> None:
    clinician = browser("clinician")
    hostile = "<script>alert('x')</script>"
    form = filled(**{"confirmed": ["L"], "fit.R.arch": "", "fit.L.heel_with": hostile, "reason": hostile})
    answer = post(clinician, ready, form)
    assert answer.status_code == 422
    for field in ("confirmed", "fit.R.arch", "fit.L.heel_with"):
        assert f'id="f-{field}"' in answer.text
        assert f'href="#f-{field}"' in answer.text
    assert hostile not in answer.text
    assert answer.text.count("&lt;script&gt;alert") >= 2
    # Seven on each side, the one side that was confirmed, and read back.
    assert len(re.findall(r'<input type="checkbox"[^>]*\schecked', answer.text)) == 16
    with lab.database.reading() as db:
        assert db.exec(select(FitCheck)).all() == []


def test_a_pair_that_does_not_fit_says_why_at_the_reason(browser: Browser, ready: str) -> None:
    answer = post(browser("clinician"), ready, filled(**{"fit.L.cover": "short"}))
    assert answer.status_code == 422
    assert "left: the cover is short" in answer.text
    assert 'href="#f-reason"' in answer.text


def test_the_bench_and_the_manager_see_no_clinical_form(browser: Browser, ready: str, lab: Lab) -> None:
    for who in ("technician", "manager"):
        page = browser(who).get(f"/pair/{ready}").text
        assert 'id="fitting"' not in page
        assert "Told the wearer" not in page
    assert browser("technician").get("/reviews").status_code == 403


def test_a_review_is_held_and_adjusted_here_by_the_form(browser: Browser, lab: Lab, on_day: OnDay, worn: str) -> None:
    clinician = browser("clinician")
    form = {
        "act": "adjust",
        "from_stage": "wear_in",
        "where": "here",
        "sides": "LR",
        "review.comfort": "6",
        "review.painful": "2, 3",
        "zone.L": ["medial_arch", ""],
        "what.L": ["lowered", ""],
        "zone.R": ["cover", "heel_cup"],
        "what.R": ["glued", "heated"],
    }
    early = post(clinician, worn, form | {"review.painful": ""})
    assert early.status_code == 409
    assert "The review of" in early.text
    assert 'value="6"' in early.text
    on_day(DUE)
    clinician = browser("clinician")  # who comes back after two weeks signs in again
    wrong = post(clinician, worn, form | {"review.comfort": "60", "what.L": ["", ""]})
    assert wrong.status_code == 422
    assert 'href="#f-what.L"' in wrong.text
    assert 'href="#f-review.comfort"' in wrong.text
    assert 'value="60"' in wrong.text
    assert post(clinician, worn, form).status_code == 303
    with lab.database.reading() as db:
        rows = db.exec(select(Adjustment.side, Adjustment.zone).order_by(col(Adjustment.id))).all()
        assert rows == [("L", "medial_arch"), ("R", "cover"), ("R", "heel_cup")]
        assert db.exec(select(Review.comfort).order_by(col(Review.id))).all() == [6, None]
    page = clinician.get(f"/pair/{worn}").text
    assert "right heel cup: spot-heated and eased" in page
    assert "Right device from above, adjusted: heel cup, cover" in page
    assert page.count('class="zone marked"') == 3
    assert "Review 2" in page


def test_a_wish_with_a_red_flag_stands_on_top_of_the_pair_and_the_list(browser: Browser, worn: str) -> None:
    clinician = browser("clinician")
    form = {"act": "note_request", "from_stage": "wear_in", "reason": "A blister", "red_flags": ["skin", "swelling"]}
    assert post(clinician, worn, form | {"reason": ""}).status_code == 422
    assert post(clinician, worn, form).status_code == 303
    assert "stop wearing, see the wearer now" in clinician.get(f"/pair/{worn}").text
    assert "red flag: skin" in clinician.get("/reviews").text


def test_the_wearer_is_told_and_the_review_booked_by_the_form(browser: Browser, worn: str) -> None:
    clinician = browser("clinician")
    told = {"act": "tell", "from_stage": "wear_in", "how": "telephone", "who": "wearer"}
    assert post(clinician, worn, told).status_code == 303
    book = {"act": "book", "from_stage": "wear_in", "what": "review", "at": "2027-03-17T14:00"}
    wrong = post(clinician, worn, book | {"at": "2020-01-01T10:00"})
    assert wrong.status_code == 422
    assert 'value="2020-01-01T10:00"' in wrong.text
    assert post(clinician, worn, book).status_code == 303
    page = clinician.get(f"/pair/{worn}").text
    assert "Clinician told the wearer by telephone" in page
    assert "booked for Wed 17 Mar 14:00" in page


def test_the_reviews_of_the_own_clinics_stand_by_day_the_overdue_first(
    browser: Browser, lab: Lab, on_day: OnDay
) -> None:
    for day, label in ((1, "Late"), (4, "Today"), (5, "Tomorrow")):
        on_day(date(2027, 3, day))
        lab.walk(lab.order(label=label), "wear_in")
    elsewhere = lab.order(by="quay clinician", clinic="quay", label="Elsewhere")
    lab.walk(elsewhere, "wear_in", "quay clinician")
    on_day(date(2027, 3, 18))
    text = browser("clinician").get("/reviews").text
    places = [
        text.index(words) for words in ("Overdue", "Late", "Today, Thu 18 Mar", "Today", "Fri 19 Mar", "Tomorrow")
    ]
    assert places[0] < places[1] < places[2] < places[4] < places[5]
    assert "Elsewhere" not in text
    assert browser("quay clinician").get("/reviews").text.count("Elsewhere") == 1


def test_an_empty_list_says_what_will_stand_there_and_a_made_up_cursor_is_refused(browser: Browser) -> None:
    clinician = browser("clinician")
    assert "No review is due" in clinician.get("/reviews").text
    assert clinician.get("/reviews?after=2027-03-17_0").status_code == 200
    for hostile in ("x", "2027-03-17_", "_3", "2027-13-01_4"):
        assert clinician.get("/reviews", params={"after": hostile}).status_code == 422


def test_a_recheck_is_ticked_off_by_the_own_clinic_alone(browser: Browser, lab: Lab, on_day: OnDay) -> None:
    on_day(DISPENSED)
    code = lab.order(wearer={"risks": ["diabetes"]})
    lab.walk(code, "wear_in")
    with lab.database.reading() as db:
        first = db.exec(select(Recheck.id).order_by(col(Recheck.due_on))).first()
    on_day(date(2027, 6, 4))
    clinician = browser("clinician")
    assert f"/rechecks/{first}" in clinician.get("/reviews").text
    assert browser("quay clinician").post(f"/rechecks/{first}").status_code == 404
    assert browser("technician").post(f"/rechecks/{first}").status_code == 403
    assert clinician.post("/rechecks/99999999999999999999").status_code == 404
    assert clinician.post(f"/rechecks/{first}").status_code == 303
    with lab.database.reading() as db:
        assert db.exec(select(Recheck.state).order_by(col(Recheck.due_on))).all() == ["held", "open"]
