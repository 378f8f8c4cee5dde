"""The sheet that the wearer takes home: hours day by day, what to look for, whom to call, when to come again."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

from fastapi.testclient import TestClient

from app import clock
from app.people.tables import Clinic
from app.templating import day_words
from app.trade import wearing
from tests.bench.conftest import Lab
from tests.house import FITS, ZONE
from tests.paperwork.conftest import A4, Sheet, print_sheet

Browser = Callable[[str], TestClient]


def dispensed(lab: Lab, sides: str = "LR", plan: dict[str, Any] | None = None, **more: Any) -> str:
    code = lab.order(sides=sides, **more)
    lab.walk(code, "dispense")
    lab.act(code, "dispense", by="clinician", facts=FITS[sides] | ({"plan": plan} if plan else {}))
    return code


def printed(browser: Browser, code: str) -> Sheet:
    return print_sheet(browser("clinician"), f"/paper/{code}/wearing.pdf")


def test_the_sheet_counts_the_hours_from_the_day_of_dispensing(browser: Browser, lab: Lab) -> None:
    sheet = printed(browser, dispensed(lab))
    assert (sheet.pages, sheet.size_mm) == (1, A4)
    today = clock.today(ZONE)
    for number, hours in enumerate(
        (1, 2, 3, 4, 5, 6, 7, 8, 8, 8, 8, 8, 8, 8), 1
    ):  # four services' leaflets: +1 h a day
        day = today + timedelta(days=number - 1)
        assert f"{day.day} {day:%b} · day {number} {hours} h skin fine it hurt" in sheet.words
    assert "day 15" not in sheet.words
    assert wearing.PLANS["hour"].source in sheet.words


def test_the_red_flags_and_the_number_to_call_stand_on_it(browser: Browser, lab: Lab) -> None:
    """The red flags of three public services' leaflets, and what they say of numb feet."""
    with lab.database.writing() as db:
        db.get_one(Clinic, lab.house.clinics["house"]).phone = "01 555 020"
    words = printed(browser, dispensed(lab)).words
    for flag in (
        "Stop wearing them and call at once",
        "a red mark that has not gone after 30 minutes",
        "any cut or blister",
        "a change of colour",
        "swelling or warmth",
        "look every single day, or have someone look for you",
    ):
        assert flag in words
    assert words.count("01 555 020") == 2
    assert "Harbour Steps" in words


def test_the_wearer_reads_when_to_come_again(browser: Browser, lab: Lab) -> None:
    due = clock.today(ZONE) + wearing.REVIEW_AFTER
    while due.weekday() > 4:  # the lab of these stories is closed at weekends
        due += timedelta(days=1)
    assert f"You are seen again on or soon after {day_words(due)}" in printed(browser, dispensed(lab)).words


def test_a_changed_plan_prints_its_own_hours_and_claims_no_leaflet(browser: Browser, lab: Lab) -> None:
    plan = {"key": "hour", "start_minutes": 30, "step_minutes": 15, "target_minutes": 240}
    words = printed(browser, dispensed(lab, plan=plan)).words
    assert "day 1 30 min" in words
    assert "day 15 4 h" in words
    assert "Hours: set by your clinician." in words
    assert "leaflets of four" not in words


def test_the_slowest_plan_is_printed_to_its_last_day(browser: Browser, lab: Lab) -> None:
    plan = {"key": "half_hour", "start_minutes": 30, "step_minutes": 10, "target_minutes": 480}
    sheet = printed(browser, dispensed(lab, plan=plan))
    assert sheet.pages == 1
    assert "day 46 8 h" in sheet.words


def test_the_sheet_knows_the_chart_label_alone(browser: Browser, lab: Lab) -> None:
    wearer = {"name": "Ottoline Farrow", "risks": ["diabetes", "sensation_loss"]}
    words = printed(browser, dispensed(lab, sides="R", wearer=wearer)).words
    assert "MR 2210" in words
    assert "RIGHT ONLY" in words
    assert "Half an hour on the first day" in words, "slower with loss of sensation, without saying why"
    for secret in ("Ottoline", "Farrow", "diabetes", "sensation"):
        assert secret not in words


def test_before_dispensing_there_is_no_sheet_and_another_clinic_finds_none(browser: Browser, lab: Lab) -> None:
    early = browser("clinician").get(f"/paper/{lab.order()}/wearing.pdf")
    assert early.status_code == 409
    assert "has no wearing-in plan yet" in early.text
    code = dispensed(lab)
    for address in (f"/paper/{code}/wearing.pdf", f"/paper/{code}/wearing"):
        assert browser("parcel clinician").get(address).status_code == 404
        assert browser("clinician").get(address).status_code == 200
