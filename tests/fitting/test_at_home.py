"""A wearer's own page: opened by its link alone, a note a day, and what a note does to the hours and at the clinic."""

import re
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import col, select

from app import clock
from app.database import Database
from app.errors import NotFound
from app.fitting import actions
from app.fitting.tables import Review, WearerLink, WearerNote
from app.journal.tables import Entry
from app.people.rules import hash_of, new_token
from app.people.tables import Clinic, FailedSignIn
from app.watch import queries as watch
from tests.bench.conftest import Lab
from tests.desks.test_query_count import counted
from tests.people.conftest import visitor

OnDay = Callable[[date], None]
Browser = Callable[[str], TestClient]
FIRST, DUE = date(2027, 3, 3), date(2027, 3, 17)
PHONE = "01 555 020"
WEARER = {"name": "Ottoline Farrow", "risks": ["diabetes"]}


class Home:
    """A pair that was dispensed, its clinic with pages switched on, and the wearer at home with the link."""

    def __init__(self, lab: Lab, app: FastAPI) -> None:
        self.lab, self.app = lab, app
        self.code = lab.order()
        lab.walk(self.code, "wear_in")
        with lab.database.writing() as db:
            clinic = db.get_one(Clinic, lab.house.clinics["house"])
            clinic.wearer_pages, clinic.phone = True, PHONE
        self.secret = self.give()

    def give(self) -> str:
        with self.lab.database.writing() as db:
            return actions.give_page(db, code=self.code, by=self.lab.house.viewer("clinician"))

    def look(self, language: str = "en", address: str = "192.0.2.10") -> Any:
        return visitor(self.app, address).get(f"/w/{self.secret}?language={language}")

    def tap(self, **answer: str) -> Any:
        return visitor(self.app).post(f"/w/{self.secret}", data=answer)

    def hours(self) -> str:
        found = re.search(r"Wear them for (.+?) at most", self.look().text)
        return found[1].replace("\u00a0", " ") if found else "none"

    def note(self) -> WearerNote:
        with self.lab.database.reading() as db:
            return db.exec(select(WearerNote).order_by(col(WearerNote.id).desc())).first() or pytest.fail("no note")


@pytest.fixture
def home(lab: Lab, app: FastAPI, on_day: OnDay) -> Home:
    on_day(FIRST)
    return Home(lab, app)


def test_pages_are_off_until_a_manager_switches_them_on_and_a_clinic_has_a_telephone(
    app: FastAPI, browser: Browser, lab: Lab, on_day: OnDay
) -> None:
    on_day(FIRST)
    code, clinic_id = lab.order(), lab.house.clinics["house"]
    lab.walk(code, "wear_in")
    clinician, manager = browser("clinician"), browser("manager")
    assert "A manager can switch the wearers" in clinician.get(f"/pair/{code}").text
    assert clinician.post(f"/pair/{code}/wearer-page").status_code == 409
    clinic = {"clinic_id": str(clinic_id), "clinic": "Harbour Steps", "wearer_pages": "yes", "clinic_phone": ""}
    assert manager.post("/lab/clinics", data=clinic).status_code == 303
    assert "has no telephone number" in clinician.post(f"/pair/{code}/wearer-page").text
    manager.post("/lab/clinics", data=clinic | {"clinic_phone": PHONE})
    given = clinician.post(f"/pair/{code}/wearer-page")
    assert given.status_code == 200
    secret = re.search(r"http://127.0.0.1/w/([\w-]+)", given.text)
    assert secret
    assert len(secret[1]) * 6 >= 160, "bits that nobody can guess"
    assert 'class="qr"' in given.text
    assert secret[1] not in clinician.get(f"/pair/{code}").text, "it is shown once"
    with lab.database.reading() as db:
        assert db.exec(select(WearerLink.token_hash)).all() == [hash_of(secret[1])]
    assert visitor(app).get(f"/w/{secret[1]}").status_code == 200
    off = {key: value for key, value in clinic.items() if key != "wearer_pages"} | {"clinic_phone": PHONE}
    manager.post("/lab/clinics", data=off)
    assert visitor(app).get(f"/w/{secret[1]}").status_code == 404, "switched off, every link rests"


def test_the_page_says_the_day_s_hours_and_whom_to_call_and_nothing_of_who_it_is(home: Home, on_day: OnDay) -> None:
    on_day(FIRST + timedelta(days=3))
    answer = home.look()
    text = " ".join(answer.text.replace("\u00a0", " ").split())
    for words in (
        "Today, Sat 6 Mar",
        "Wear them for 4 h at most",
        "Day 4.",
        "rise until day 8, to 8 h a day",
        "on or soon after <b>Wed 17 Mar</b>",
        PHONE,
        "Harbour Steps",
        "a red mark that has not gone after 30 minutes",
        "any cut or blister",
        "a change of colour",
        "swelling or warmth",
        "look every single day, or have someone look for you",
        "Nobody reads this page at night or at weekends",
    ):
        assert words in text
    for secret in ("MR 2210", home.code, "Ottoline", "diabetes", "<script"):
        assert secret not in text
    assert answer.headers["referrer-policy"] == "no-referrer"
    assert answer.headers["x-robots-tag"] == "noindex"
    assert answer.headers["cache-control"] == "no-store"
    assert "set-cookie" not in answer.headers
    assert set(re.findall(r'(?:href|src|action)="(?!/|tel:|#)', answer.text)) == set(), "nothing from elsewhere"


def test_the_page_speaks_spanish_by_a_link_and_stays_so_after_a_note(home: Home) -> None:
    assert 'href="/w/' in home.look().text
    answer = home.look("es")
    assert '<html lang="es">' in answer.text
    assert "Deje de usarlas y llame enseguida" in answer.text
    assert "Hoy, mié" in answer.text
    assert home.tap(language="es", comfort="4").headers["location"].endswith("?language=es#note")
    assert home.look("tlh").text.count('<html lang="en">') == 1


def test_every_answer_is_one_tap_and_a_day_has_one_note_that_can_be_changed(home: Home, on_day: OnDay) -> None:
    for answer in ({"minutes": "60"}, {"comfort": "3"}, {"skin": "clear"}, {"minutes": "30"}):
        assert home.tap(**answer).status_code == 303
    note = home.note()
    assert (note.day, note.minutes, note.comfort, note.skin) == (FIRST, 30, 3, "clear")
    assert home.look().text.count('aria-pressed="true"') == 3
    for wrong in ({"minutes": "17"}, {"comfort": "6"}, {"skin": "<b>"}, {"pair_id": "1"}, {}):
        assert home.tap(**wrong).status_code == 303
    assert home.note().minutes == 30
    on_day(FIRST + timedelta(days=1))
    home.tap(minutes="120")
    with home.lab.database.reading() as db:
        rows = db.exec(select(WearerNote).order_by(col(WearerNote.day))).all()
    assert [(row.day, row.minutes) for row in rows] == [(FIRST, 30), (FIRST + timedelta(days=1), 120)]
    page = home.look().text.replace("\u00a0", " ")
    assert "30 min · I notice them" in page, "yesterday's stands below"


def test_the_day_is_the_lab_s(home: Home) -> None:
    """Half past midnight in Lisbon's summer is still yesterday in UTC."""
    at = clock.now().replace(month=6, day=1, hour=23, minute=30)
    with home.lab.database.writing() as db:
        db.exec(select(Review)).one().due_on = date(2027, 6, 2)
    clock.set_shift(clock.shift() + (at - clock.now()))
    home.tap(comfort="4")
    assert home.note().day == date(2027, 6, 2)


def test_a_painful_day_holds_the_hours_until_a_better_one_is_noted(home: Home, on_day: OnDay) -> None:
    on_day(FIRST + timedelta(days=2))
    assert home.hours() == "3 h"
    home.tap(comfort="1")
    assert "It hurt. The hours stay as they are" in home.look().text
    for later in (3, 4):  # nothing is noted: the pain has not gone by silence
        on_day(FIRST + timedelta(days=later))
        assert home.hours() == "3 h"
    home.tap(comfort="4")
    assert home.hours() == "3 h"
    on_day(FIRST + timedelta(days=5))
    assert home.hours() == "4 h"


def test_a_tap_taken_back_the_same_day_holds_nothing(home: Home, on_day: OnDay) -> None:
    home.tap(comfort="1")
    home.tap(comfort="4")
    on_day(FIRST + timedelta(days=1))
    assert home.hours() == "2 h"


def test_a_red_flag_stops_the_wearing_and_stands_at_the_clinic_at_once_until_it_is_cleared(
    home: Home, browser: Browser, on_day: OnDay
) -> None:
    on_day(FIRST + timedelta(days=1))
    home.tap(skin="red_flag")
    home.tap(skin="clear")  # tapped away is not gone
    page = home.look().text
    assert "Stop wearing them and call your clinic now" in page
    assert f'href="tel:{PHONE.replace(" ", "")}"' in page
    assert home.hours() == "none"
    clinician = browser("clinician")
    assert "Reported: skin, noted by the wearer at home." in clinician.get("/flags").text
    assert "A red flag was noted by a wearer at home" in clinician.get("/").text
    assert "A red flag was noted" not in browser("quay clinician").get("/").text
    assert "stop wearing, see the wearer now" in clinician.get(f"/pair/{home.code}").text
    assert "red flag: skin, noted by the wearer at home" in clinician.get("/reviews").text
    assert home.code not in browser("quay clinician").get("/flags").text
    on_day(FIRST + timedelta(days=4))
    assert home.hours() == "none"
    clinician = browser("clinician")
    assert clinician.post(f"/pair/{home.code}/wearer-page/clear").status_code == 303
    assert home.hours() == "2 h"
    assert "Reported: skin" not in clinician.get("/flags").text
    on_day(FIRST + timedelta(days=5))
    assert home.hours() == "3 h"
    with home.lab.database.reading() as db:
        (cleared,) = db.exec(select(Entry).where(Entry.what == "wearer_cleared")).all()
        assert (cleared.staff_id, cleared.facts) == (home.lab.house.people["clinician"], {"days": 1})
        assert db.exec(select(Entry.staff_id).where(Entry.what == "wearer_red_flag")).all() == [None]


def test_with_a_red_flag_an_adjustment_need_not_wait_for_the_review_which_clears_it(home: Home) -> None:
    adjust = {"where": "here", "zones": [{"side": "L", "zone": "cover", "what": "smoothed"}]}
    home.tap(skin="red_flag")
    home.lab.act(home.code, "adjust", by="clinician", sides="L", facts=adjust)
    assert home.note().cleared_by == home.lab.house.people["clinician"]
    with home.lab.database.reading() as db:
        assert [each.flag.kind for each in watch.raised(db) if each.flag.kind == "red_flag"] == []


def test_the_notes_stand_on_the_pair_s_page_and_the_reviews_of_the_own_clinic(home: Home, browser: Browser) -> None:
    for answer in ({"minutes": "60"}, {"comfort": "2"}, {"skin": "mark_gone"}):
        home.tap(**answer)
    words = "1 h worn, sore, a mark, gone within 30 minutes"
    pages = [browser("clinician").get(path).text.replace("\u00a0", " ") for path in (f"/pair/{home.code}", "/reviews")]
    assert all(words in page for page in pages)
    for who in ("technician", "manager"):
        assert "a mark, gone within" not in browser(who).get(f"/pair/{home.code}").text
    assert browser("quay clinician").get(f"/pair/{home.code}").status_code == 404


def test_a_link_ends_with_its_review_a_day_after_it_was_due_and_by_a_clinician_s_word(
    home: Home, browser: Browser, on_day: OnDay
) -> None:
    first = home.secret
    home.secret = home.give()
    assert visitor(home.app).get(f"/w/{first}").status_code == 404, "a new link ends the earlier one"
    browser("clinician").post(f"/pair/{home.code}/wearer-page/withdraw")
    assert home.look().status_code == 404
    assert home.tap(comfort="4").status_code == 404
    home.secret = home.give()
    on_day(DUE + timedelta(days=1))
    assert home.look().status_code == 200
    on_day(DUE + timedelta(days=2))
    assert home.look().status_code == 404
    home.lab.act(home.code, "book", by="clinician", facts={"at": "2027-03-25T10:00", "what": "review"})
    assert home.look().status_code == 200, "an appointment is the review's day"
    home.lab.act(home.code, "keep_wearing", by="clinician")
    assert home.look().status_code == 404, "the next review gets its own"
    with home.lab.database.reading() as db:
        kinds = db.exec(select(Entry.what).where(col(Entry.what).like("wearer_page_%"))).all()
    assert sorted(kinds) == ["wearer_page_given"] * 3 + ["wearer_page_withdrawn"]


def test_whatever_is_wrong_with_a_link_the_answer_is_the_same_after_the_same_work(home: Home, on_day: OnDay) -> None:
    """The work is counted in statements: time itself would make a test that fails by chance."""
    ended = home.secret
    asked: list[list[str]] = []
    bodies: set[str] = set()
    home.secret = home.give()
    on_day(DUE + timedelta(days=5))
    for secret in (ended, home.secret, new_token(), "x", "x" * 3000, "%00"):
        with counted(home.app) as sent:
            answer = visitor(home.app, f"198.51.100.{len(asked)}").get(f"/w/{secret}")
        assert answer.status_code == 404
        asked.append([re.sub(r"\s+", " ", each)[:60] for each in sent])
        bodies.add(answer.text)
    assert len(bodies) == 1
    assert all(each == asked[0] for each in asked)


@pytest.mark.anywhere
def test_ten_thousand_guesses_find_nothing(home: Home, database: Database) -> None:
    """From as many addresses as guesses, so that nothing but the link itself stands in the way."""
    found = 0
    with database.reading() as db:
        for number in range(10_000):
            try:
                actions.open_page(db, secret=new_token(), address=f"guess {number}")
                found += 1
            except NotFound:
                continue
    assert found == 0


def test_an_address_that_guesses_and_a_link_that_is_tapped_on_and_on_are_slowed_down(home: Home) -> None:
    guesser = visitor(home.app, "198.51.100.7")
    answers = [guesser.get(f"/w/{new_token()}").status_code for _ in range(actions.WRONG_LINKS + 5)]
    assert answers == [404] * actions.WRONG_LINKS + [429] * 5
    assert guesser.get(f"/w/{home.secret}").status_code == 429, "nor does it learn that it has guessed right"
    assert home.look().status_code == 200, "the wearer is at another address"
    with home.lab.database.reading() as db:
        rows = db.exec(select(FailedSignIn.key)).all()
    assert len(rows) == 1
    with home.lab.database.writing() as db:
        for _ in range(actions.NOTES_BY_LINK):
            actions.count_note(db, secret=home.secret, address="192.0.2.10")
    refused = home.tap(comfort="4")
    assert refused.status_code == 429
    assert "call your clinic now" in refused.text


def test_a_form_on_plain_http_is_taken_although_its_browser_tells_no_origin(home: Home) -> None:
    """Without a referrer browsers send `Origin: null`; and a session's cookie that is there by chance is no matter."""
    browser = TestClient(home.app, base_url="http://127.0.0.1", cookies={"pairtrail": "x"}, follow_redirects=False)
    answer = browser.post(f"/w/{home.secret}", data={"comfort": "5"}, headers={"origin": "null"})
    assert answer.status_code == 303
    assert home.note().comfort == 5
