"""What a person chose to be told of: what is usual, what is for whom, and the calendar's address, shown once."""

import re
from typing import Any

import pytest
from fastapi import FastAPI

from app.database import Database
from app.main import build
from app.people.queries import told
from app.people.rules import hash_of
from app.people.tables import CalendarFeed
from app.settings import Settings
from tests import house as builders
from tests.house import House
from tests.people.conftest import Browser, Journal
from tests.people.forms import read


def ticked(page: Any) -> set[str]:
    assert page.status_code in (200, 422), page.text
    return {value for name, value in read(page.text).ticked if name == "wanted"}


def offered(page: Any) -> set[str]:
    return set(re.findall(r'name="wanted"\s+value="(\w+)"', page.text))


@pytest.mark.parametrize(
    ("who", "subjects", "usual"),
    [
        ("technician", {"digest"}, set()),
        ("clinician", {"ready", "question", "red_flag", "late", "digest"}, {"question", "red_flag"}),
        ("manager", {"late", "digest", "report"}, {"report"}),
    ],
)
def test_each_is_offered_what_is_for_the_own_roles_and_told_what_is_usual(
    browser: Browser, who: str, subjects: set[str], usual: set[str]
) -> None:
    page = browser(who).get("/me/told")
    assert (offered(page), ticked(page)) == (subjects, usual)
    assert f"{who}@lab.example" in page.text
    assert ("/me/told/calendar" in page.text) is (who == "clinician")


def test_what_was_chosen_holds_and_stands_in_the_journal_once(
    browser: Browser, journal: Journal, house: House, database: Database
) -> None:
    mine = browser("clinician")
    chosen = {"wanted": ["ready", "question", "digest"], "hour": "8"}
    for _ in range(2):
        assert mine.post("/me/told", data=chosen).headers["location"] == "/me/told"
    page = mine.get("/me/told")
    assert ticked(page) == {"ready", "question", "digest"}
    assert read(page.text).values["hour"] == "8"
    (entry,) = journal("told_chosen")
    facts = {"ready": [False, True], "red_flag": [True, False], "digest": [False, True], "hour": [7, 8]}
    assert (entry.staff_id, entry.facts) == (house.people["clinician"], facts)
    assert ticked(browser("quay clinician").get("/me/told")) == {"question", "red_flag"}, "nobody else's"
    with database.reading() as db:
        wanting = {each.staff_id for each in told.to_tell(db, "ready")}
    assert wanting == {house.people["clinician"]}


def test_what_can_t_be_chosen_comes_back_as_it_was_typed(browser: Browser, journal: Journal) -> None:
    mine = browser("clinician")
    page = mine.post("/me/told", data={"wanted": ["late"], "hour": "26"})
    assert page.status_code == 422
    assert (ticked(page), "hour" in read(page.text).wrong) == ({"late"}, True)
    assert browser("technician").post("/me/told", data={"wanted": ["red_flag"], "hour": "7"}).status_code == 422
    assert journal("told_chosen") == []


def test_the_page_says_when_no_mail_is_sent_and_managers_what_is_lacking(
    browser: Browser, settings: Settings, house: House
) -> None:
    assert "No mail is sent" in browser("clinician").get("/me/told").text
    assert "PAIRTRAIL_SMTP_URL" not in browser("clinician").get("/me/told").text
    assert "PAIRTRAIL_SMTP_URL, PAIRTRAIL_MAIL_FROM" in browser("manager").get("/me/told").text
    mail = {
        "smtp_url": "smtp://127.0.0.1:2525",
        "mail_from": "told@lab.example",
        "address": "https://pairs.lab.example",
    }
    sends = build(settings.model_copy(update=mail))
    assert "No mail is sent" not in builders.browser(sends, house.people["manager"]).get("/me/told").text
    sends.state.database.close()


def test_a_calendar_s_address_is_shown_once_and_only_its_hash_is_kept(
    app: FastAPI, browser: Browser, journal: Journal, database: Database
) -> None:
    mine = browser("clinician")
    page = mine.post("/me/told/calendar")
    (secret,) = re.findall(r"http://127\.0\.0\.1/calendar/([\w-]+)\.ics", page.text)
    assert len(secret) * 6 >= 128, "bits; each character of the alphabet is worth six"
    assert secret not in mine.get("/me/told").text
    with database.reading() as db:
        row = db.get_one(CalendarFeed, journal("calendar_made")[0].staff_id)
    assert row.secret_hash == hash_of(secret)
    mine.post("/me/told/calendar/end")
    mine.post("/me/told/calendar/end")
    assert len(journal("calendar_ended")) == 1
    assert browser("manager").post("/me/told/calendar").status_code == 403
