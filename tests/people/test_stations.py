"""Signing on at a shared tablet of the bench: who is let on, what that opens, and what ends it."""

from datetime import timedelta
from http.cookies import SimpleCookie
from urllib.parse import parse_qs, urlsplit

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import func, select

from app import clock
from app.database import Database
from app.main import build
from app.people import actions
from app.people.tables import FailedSignIn, SignedIn
from app.settings import Settings
from tests import house as builders
from tests.house import House
from tests.people.conftest import CHEAP, Browser, Journal, visitor
from tests.people.forms import read
from tests.people.tablets import PIN, Benches, add_pages, put, refused, sign_on, token_of


@pytest.fixture
def benches(app: FastAPI, house: House) -> Benches:
    add_pages(app)
    return Benches(app, house)


def at(minutes: float) -> None:
    clock.set_shift(timedelta(minutes=minutes))


def open_sign_ons(database: Database) -> int:
    with database.reading() as db:
        still = (SignedIn.station_id.is_not(None), SignedIn.ended_at.is_(None))  # type: ignore[union-attr]
        return int(db.execute(select(func.count()).select_from(SignedIn).where(*still)).scalar_one())


def test_a_technician_signs_on_works_and_locks(benches: Benches, house: House, journal: Journal) -> None:
    tablet = benches.signed_on()
    assert tablet.get("/bench/told").json() == {
        "name": "Technician",
        "roles": ["technician"],
        "clinics": [],
        "station": "Press bench",
    }
    assert tablet.post("/bench/told").json() == "Technician"
    assert "Technician is signed on here." in tablet.get("/bench/sign-on").text
    assert tablet.post("/bench/lock").headers["location"] == "/bench/sign-on"
    assert "signed on here" not in tablet.get("/bench/sign-on").text
    assert tablet.get("/bench/told?code=1").headers["location"] == "/bench/sign-on?then=/bench/told%3Fcode%3D1"
    me, manager = house.people["technician"], house.people["manager"]
    told = [*journal("station_enrolled"), *journal("signed_on"), *journal("signed_off")]
    assert [(entry.what, entry.staff_id, entry.subject) for entry in told] == [
        ("station_enrolled", manager, "station"),
        ("signed_on", me, "station"),
        ("signed_off", me, "station"),
    ]
    assert told[-1].facts == {"reason": "locked"}


def test_one_comes_to_the_bench_s_page_that_one_wanted_and_to_no_other(benches: Benches) -> None:
    tablet, badge = benches.tablet(), benches.badge()
    door = tablet.get("/bench/told?code=26-00417-D")
    then = parse_qs(urlsplit(door.headers["location"]).query)["then"][0]
    assert read(tablet.get(door.headers["location"]).text).values["then"] == "/bench/told?code=26-00417-D"
    led = {then: sign_on(tablet, badge, then=then).headers["location"] for then in (then, "/people", "//bench", "")}
    assert led == {then: then, "/people": "/bench", "//bench": "/bench", "": "/bench"}


def test_the_cookies_are_for_the_bench_alone_and_the_tablet_s_is_kept(benches: Benches, settings: Settings) -> None:
    badge = benches.badge()
    secure = build(settings.model_copy(update={"secure_cookies": True}))
    secure.state.passwords = CHEAP
    manager = builders.browser(secure, benches.house.people["manager"])
    session = token_of(manager, "pairtrail")
    tablet = visitor(secure, base_url="https://lab.example")
    tablet.cookies.set("__Host-pairtrail", session)
    enrolled = tablet.post("/bench/enrol", data={"name": "Press bench"})
    signed_on = sign_on(tablet, badge)
    kept = SimpleCookie("; ".join(enrolled.headers.get_list("set-cookie")))["__Secure-pairtrail-tablet"]
    mine = SimpleCookie(signed_on.headers.get_list("set-cookie")[0])["__Secure-pairtrail-bench"]
    for cookie in (kept, mine):
        assert (cookie["path"], cookie["samesite"]) == ("/bench", "strict")
        assert cookie["httponly"]
        assert cookie["secure"]
        assert not cookie["domain"]
        assert len(cookie.value) >= 43, "256 bits in base64"
    assert int(kept["max-age"]) == 400 * 24 * 60 * 60
    assert not any(mine[name] for name in ("max-age", "expires")), "a sign-on ends with the browser"
    assert any("__Secure-pairtrail-tablet" in each for each in signed_on.headers.get_list("set-cookie")), "kept on"
    secure.state.database.close()


def test_enrolling_signs_the_manager_out_on_the_tablet(benches: Benches) -> None:
    tablet = benches.tablet()
    assert tablet.get("/people").headers["location"] == "/sign-in?then=/people"


def test_a_browser_that_is_no_tablet_says_so_and_signs_nobody_on(
    benches: Benches, browser: Browser, database: Database
) -> None:
    badge, technician = benches.badge(), browser("technician")
    benches.tablet()
    for client in (benches.stranger(), technician):
        assert "This tablet is not enrolled" in client.get("/bench/sign-on").text
        answer = sign_on(client, badge)
        assert (answer.status_code, "set-cookie" in answer.headers) == (409, False)
        assert "This tablet is not enrolled" in answer.text
    assert open_sign_ons(database) == 0
    with database.reading() as db:
        assert db.execute(select(func.count()).select_from(FailedSignIn)).scalar_one() == 0
    assert technician.get("/bench/told").json()["station"] == "", "who is signed in as everywhere still is"


def test_an_ended_tablet_signs_nobody_on_and_who_was_is_signed_off(
    benches: Benches, browser: Browser, database: Database, journal: Journal
) -> None:
    tablet, other = benches.signed_on(), benches.signed_on("second technician", "Grinder")
    manager = browser("manager")
    assert "enrolled" in manager.get("/people/tablets").text
    assert "Press bench is ended" in manager.post("/people/tablets/1/end", follow_redirects=True).text
    assert tablet.get("/bench/told").headers["location"] == "/sign-in?then=/bench/told"
    assert tablet.post("/bench/told").status_code == 401
    assert sign_on(tablet, benches.badge()).status_code == 409
    tablet.cookies.set("pairtrail", token_of(browser("technician"), "pairtrail"))
    assert tablet.get("/bench/told").json()["station"] == "", "a browser like any other"
    assert other.get("/bench/told").status_code == 200
    assert [entry.facts["reason"] for entry in journal("signed_off")] == ["tablet ended"]
    assert len(journal("station_ended")) == 1
    page = manager.get("/people/tablets").text
    assert "Press bench" not in page
    assert "Grinder" in page
    assert manager.post("/people/tablets/1/end").status_code == 404


def test_a_tablet_has_a_name_of_its_own_and_is_enrolled_anew_in_place_of_itself(benches: Benches) -> None:
    first, signed_on = benches.tablet(), benches.signed_on(name="Grinder")
    again = builders.browser(benches.app, benches.house.people["manager"])
    refusal = again.post("/bench/enrol", data={"name": " press  BENCH "})
    assert refusal.status_code == 422
    assert read(refusal.text).wrong == {"name"}
    signed_on.cookies.set("pairtrail", token_of(again, "pairtrail"))
    old = token_of(signed_on, "pairtrail-tablet")
    assert signed_on.post("/bench/enrol", data={"name": "grinder"}).status_code == 303
    assert token_of(signed_on, "pairtrail-tablet") != old
    assert signed_on.get("/bench/told").headers["location"].startswith("/bench/sign-on"), "signed off, still a tablet"
    assert "Sign on at Press bench" in first.get("/bench/sign-on").text


def test_who_signs_on_next_signs_off_who_was(benches: Benches, journal: Journal) -> None:
    tablet = benches.signed_on("technician")
    before = token_of(tablet)
    sign_on(tablet, benches.badge("second technician"))
    assert tablet.get("/bench/told").json()["name"] == "Second technician"
    put(tablet, "pairtrail-bench", before)
    assert tablet.get("/bench/told").status_code == 303
    assert [entry.facts["reason"] for entry in journal("signed_off")] == ["someone signed on"]


def test_the_same_request_after_a_lock_is_a_whole_new_sign_on(benches: Benches, browser: Browser) -> None:
    tablet, badge = benches.tablet(), benches.badge()
    first = sign_on(tablet, badge)
    old = token_of(tablet)
    tablet.post("/bench/lock")
    second = sign_on(tablet, badge)
    assert first.status_code == second.status_code == 303
    assert token_of(tablet) != old
    tablet.post("/bench/lock")
    browser("manager").post(f"/people/{benches.house.people['technician']}/badge/void")
    assert refused(sign_on(tablet, badge)) == "fit", "what it proves is looked at each time"
    put(tablet, "pairtrail-bench", old)
    assert tablet.get("/bench/told").headers["location"].startswith("/bench/sign-on"), "the locked one stays dead"


def test_whatever_roles_a_person_has_at_the_bench_there_is_a_technician_alone(
    benches: Benches, browser: Browser, journal: Journal
) -> None:
    tablet, own = benches.signed_on("practitioner"), browser("practitioner")
    assert tablet.get("/bench/told").json() | {"station": ""} == {
        "name": "Practitioner",
        "roles": ["technician"],
        "clinics": [],
        "station": "",
    }
    assert own.get("/bench/told").json()["roles"] == ["clinician", "manager", "technician"]
    assert len(own.get("/bench/told").json()["clinics"]) == 3
    who = benches.house.people["practitioner"]
    browser("manager").post(f"/people/{who}", data={"roles": "manager"})
    assert tablet.get("/bench/told").headers["location"].startswith("/bench/sign-on")
    badge = benches.badge("technician")
    me = benches.house.people["technician"]
    browser("manager").post(f"/people/{me}", data={"roles": "clinician", "clinics": benches.house.clinics["house"]})
    assert refused(sign_on(tablet, badge)) == "role"
    assert journal("sign_on_refused")[-1].facts == {"reason": "not a technician", "badge_of": me}
    assert refused(sign_on(tablet, badge, "3141")) == "fit", "told to nobody who lacks the PIN"


def test_a_sign_on_is_good_at_its_own_tablet_alone(benches: Benches) -> None:
    tablet, other = benches.signed_on(), benches.tablet("Grinder")
    put(other, "pairtrail-bench", token_of(tablet))
    assert other.get("/bench/told").headers["location"].startswith("/bench/sign-on")
    stolen = benches.stranger()
    put(stolen, "pairtrail-bench", token_of(tablet))
    assert stolen.get("/bench/told").headers["location"] == "/sign-in?then=/bench/told"


def test_below_bench_alone_a_page_takes_a_sign_on_even_if_the_browser_sends_it_elsewhere(benches: Benches) -> None:
    tablet = benches.signed_on()
    for name in ("pairtrail-bench", "pairtrail-tablet"):
        tablet.cookies.set(name, token_of(tablet, name), path="/")
    assert tablet.get("/bench/told").status_code == 200
    for place in ("/benches", "/elsewhere"):
        assert tablet.get(place).headers["location"] == f"/sign-in?then={place}"
        assert tablet.post(place).status_code == 401


def test_of_two_sessions_in_one_browser_the_sign_on_counts_and_locking_ends_both(
    benches: Benches, browser: Browser, journal: Journal
) -> None:
    tablet = benches.signed_on("technician")
    tablet.cookies.set("pairtrail", token_of(browser("manager"), "pairtrail"))
    assert tablet.get("/people").status_code == 200
    assert tablet.get("/bench/told").json()["name"] == "Technician"
    tablet.post("/bench/lock")
    assert tablet.get("/bench/told").headers["location"] == "/bench/sign-on?then=/bench/told"
    assert tablet.get("/people").headers["location"] == "/sign-in?then=/people"
    assert journal("signed_out")[-1].staff_id == benches.house.people["manager"]
    tablet.cookies.set("pairtrail", token_of(browser("manager"), "pairtrail"))
    assert tablet.get("/bench/told").json()["name"] == "Manager", "nobody is signed on: as everywhere"
    sign_on(tablet, benches.badge("second technician"))
    assert tablet.get("/people").headers["location"] == "/sign-in?then=/people", "signing on ends it as well"


def test_a_tablet_left_alone_is_locked_and_an_act_is_not_done_for_who_comes_next(
    benches: Benches, settings: Settings, browser: Browser, database: Database, journal: Journal
) -> None:
    tablet = benches.signed_on()
    for minutes in (settings.bench_idle_minutes - 1, 2 * settings.bench_idle_minutes - 3):
        at(minutes)
        assert tablet.get("/bench/told").status_code == 200, "each request begins the time anew"
    at(4 * settings.bench_idle_minutes)
    tablet.cookies.set("pairtrail", token_of(browser("manager"), "pairtrail"))
    answer = tablet.post("/bench/told", data={"code": "26-00417-D"})
    assert answer.status_code == 401
    assert "left alone for a while" in answer.text
    assert read(answer.text).values.keys() == {"then", "badge", "pin"}
    assert open_sign_ons(database) == 0
    assert [entry.facts for entry in journal("signed_off")] == [{"reason": "left alone"}]
    assert tablet.get("/bench/told").headers["location"].startswith("/bench/sign-on"), "not on to another's session"
    assert len(journal("signed_out")) == 2, "the manager's, who enrolled it and came back"
    at(0)
    assert tablet.get("/bench/told").status_code == 303, "a clock put back revives nothing"


def test_an_ordinary_session_left_alone_ends_at_a_tablet_as_it_does_elsewhere(
    benches: Benches, settings: Settings, browser: Browser, journal: Journal
) -> None:
    tablet = benches.tablet()
    tablet.cookies.set("pairtrail", token_of(browser("technician"), "pairtrail"))
    at(settings.idle_minutes + 1)
    assert tablet.get("/bench/told").headers["location"] == "/bench/sign-on?then=/bench/told"
    assert len(journal("signed_out_idle")) == 1


def test_another_site_can_neither_sign_on_nor_lock(benches: Benches) -> None:
    tablet, badge = benches.signed_on(), benches.badge("second technician")
    for headers in ({"sec-fetch-site": "cross-site"}, {"origin": "https://elsewhere.example"}, {}):
        bare = TestClient(benches.app, base_url="http://127.0.0.1", headers=headers, follow_redirects=False)
        for name in ("pairtrail-bench", "pairtrail-tablet"):
            bare.cookies.set(name, token_of(tablet, name), path="/bench")
        assert sign_on(bare, badge).status_code == 403
        assert bare.post("/bench/lock").status_code == 403
    assert tablet.get("/bench/told").json()["name"] == "Technician"


def test_signing_out_with_a_sign_on_s_token_ends_nothing_and_the_end_of_access_ends_all(
    benches: Benches, database: Database, house: House
) -> None:
    tablet = benches.signed_on()
    thief = benches.stranger()
    thief.cookies.set("pairtrail", token_of(tablet))
    thief.post("/sign-out")
    assert tablet.get("/bench/told").status_code == 200
    with database.writing() as db:
        actions.end_access(db, by=house.viewer("manager"), staff_id=house.people["technician"])
    assert tablet.get("/bench/told").status_code == 303


def test_no_secret_is_stored_in_the_clear(benches: Benches, database: Database) -> None:
    tablet, badge = benches.tablet(), benches.badge(pin="90210734")
    sign_on(tablet, badge, "90210734")
    with database.reading() as db:
        stored = " ".join(
            str(row) for table in SignedIn.metadata.sorted_tables for row in db.execute(select(table)).all()
        )
    assert "press bench" in stored.lower()
    for secret in (badge, badge.partition("/")[2], "90210734", token_of(tablet), token_of(tablet, "pairtrail-tablet")):
        assert secret not in stored


def test_a_lab_without_a_tablet_sees_nothing_of_it(benches: Benches, browser: Browser) -> None:
    me = benches.house.people["practitioner"]

    def seen() -> list[bool]:
        practitioner = browser("practitioner")
        desk, own = practitioner.get("/").text, practitioner.get(f"/people/{me}").text
        return ["/pin" in desk, "badge" in own.lower(), "/bench/sign-on" in desk]

    assert seen() == [False, False, False]
    benches.tablet()
    assert seen() == [True, True, False]


def test_a_try_leaves_nothing_in_the_tablet_s_history_that_could_be_sent_again(benches: Benches) -> None:
    tablet, badge = benches.tablet(), benches.badge()
    for pin, word in (("3141", "fit"), ("", "pin"), (PIN, "")):
        answer = sign_on(tablet, badge, pin)
        assert answer.status_code == 303, "a page of its own would hold badge and PIN"
        assert answer.headers["location"].partition("&refused=")[2] == word
    page = tablet.get("/bench/sign-on?refused=fit")
    assert read(page.text).wrong == {"badge"}
    assert "do not fit together" in page.text
