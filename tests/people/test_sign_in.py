"""Getting in: the owner of a password, a colleague who guesses, a stranger; and how a session ends."""

import hashlib
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from http.cookies import Morsel, SimpleCookie

import httpx2
from argon2 import extract_parameters
from argon2.profiles import RFC_9106_LOW_MEMORY
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from app import clock
from app.database import Database
from app.main import build
from app.people.actions import Passwords
from app.people.actions.signing import TRIES, TRIES_BY_ADDRESS
from app.people.tables import SignedIn, Staff
from app.settings import Settings
from tests.house import House
from tests.people.conftest import CHEAP, PASSWORD, Browser, Journal, visitor

WithPassword = Callable[[str], str]


def sign_in(client: TestClient, email: str, password: str = PASSWORD, then: str = "/") -> httpx2.Response:
    return client.post("/sign-in", data={"email": email, "password": password, "then": then})


def cookie_of(answer: httpx2.Response) -> Morsel[str]:
    cookies = SimpleCookie(answer.headers["set-cookie"])
    (morsel,) = cookies.values()
    return morsel


def sessions(database: Database) -> list[SignedIn]:
    with database.reading() as db:
        return list(db.exec(select(SignedIn)))


def at(minutes: float) -> None:
    """The clock shows so many minutes after the story began."""
    clock.set_shift(timedelta(minutes=minutes))


def test_the_right_password_lets_its_owner_in_and_is_journalled(
    stranger: TestClient, with_password: WithPassword, house: House, journal: Journal
) -> None:
    answer = sign_in(stranger, with_password("technician"))
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    assert "Technician" in stranger.get("/").text
    assert [entry.staff_id for entry in journal("signed_in")] == [house.people["technician"]]


def test_an_e_mail_address_is_the_same_in_any_case_and_with_blanks_around_it(
    stranger: TestClient, with_password: WithPassword
) -> None:
    assert sign_in(stranger, f"  {with_password('technician').upper()} ").status_code == 303


def test_a_wrong_password_a_stranger_and_someone_without_a_password_get_the_same_answer(
    stranger: TestClient, with_password: WithPassword
) -> None:
    answers = []
    for email in (with_password("technician"), "nobody@lab.example", "clinician@lab.example"):
        answer = sign_in(stranger, email, "a guess that is wrong")
        assert "set-cookie" not in answer.headers
        answers.append((answer.status_code, answer.text.replace(email, "EMAIL")))
    assert answers[0] == answers[1] == answers[2]
    assert answers[0][0] == 401
    assert "E-mail and password do not fit together." in answers[0][1]


def test_a_refused_sign_in_keeps_the_e_mail_but_never_shows_the_password(
    stranger: TestClient, with_password: WithPassword, journal: Journal
) -> None:
    text = sign_in(stranger, with_password("technician"), "a guess that is wrong").text
    assert 'value="technician@lab.example"' in text
    assert "a guess that is wrong" not in text
    (entry,) = journal("sign_in_refused")
    assert (entry.staff_id, entry.facts) == (None, {})


def test_an_unknown_address_takes_as_long_as_a_wrong_password() -> None:
    passwords = Passwords()
    stored = passwords.stored_form(PASSWORD)
    passwords.fits(None, PASSWORD)  # the first one also makes what nobody's password is compared with

    def cost(stored_form: str | None) -> float:
        start = time.process_time()
        assert not passwords.fits(stored_form, "a guess that is wrong")
        return time.process_time() - start

    assert cost(None) > cost(stored) / 3


def test_passwords_are_stored_as_the_published_recommendation_says() -> None:
    # RFC 9106, section 4, second recommended option, as the library spells it out.
    assert extract_parameters(Passwords().stored_form(PASSWORD)) == RFC_9106_LOW_MEMORY


def test_a_password_stored_at_a_lower_cost_is_stored_anew_when_its_owner_signs_in(
    app: FastAPI, stranger: TestClient, with_password: WithPassword, database: Database, house: House
) -> None:
    email = with_password("technician")
    app.state.passwords = Passwords(passes=2, memory_kib=16, lanes=1)
    sign_in(stranger, email)
    with database.reading() as db:
        stored = db.get_one(Staff, house.people["technician"]).password
    assert stored is not None
    assert extract_parameters(stored).memory_cost == 16


def test_eight_wrong_passwords_in_two_places_slow_the_name_down_everywhere(
    app: FastAPI, settings: Settings, with_password: WithPassword
) -> None:
    email = with_password("technician")
    another_process = build(settings)
    another_process.state.passwords = CHEAP
    first, second = visitor(app, "192.0.2.1"), visitor(another_process, "198.51.100.2")
    for client in [first, second] * (TRIES // 2):
        assert sign_in(client, email, "a guess that is wrong").status_code == 401
    for client in (first, second, visitor(app, "192.0.2.3")):
        answer = sign_in(client, email)
        assert answer.status_code == 429
        assert "Try again in" in answer.text
    assert sign_in(visitor(app, "192.0.2.3"), with_password("manager")).status_code == 303
    another_process.state.database.close()


def test_forty_wrong_passwords_from_one_address_slow_it_down_for_every_name(
    app: FastAPI, with_password: WithPassword
) -> None:
    for number in range(TRIES_BY_ADDRESS):
        assert sign_in(visitor(app, "192.0.2.1"), f"guess{number}@lab.example").status_code == 401
    email = with_password("technician")
    assert sign_in(visitor(app, "192.0.2.1"), email).status_code == 429
    assert sign_in(visitor(app, "192.0.2.2"), email).status_code == 303


def test_guesses_that_come_all_at_once_are_all_counted(app: FastAPI, with_password: WithPassword) -> None:
    email = with_password("technician")

    def guess(number: int) -> int:
        return sign_in(visitor(app, f"192.0.2.{number}"), email, "a guess that is wrong").status_code

    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(guess, range(4 * TRIES)))
    assert answers.count(401) == TRIES
    assert answers.count(429) == 3 * TRIES


def test_a_clinic_behind_one_address_may_sign_in_as_often_as_it_likes(
    app: FastAPI, with_password: WithPassword
) -> None:
    email = with_password("technician")
    for _ in range(TRIES_BY_ADDRESS + 1):
        assert sign_in(visitor(app, "192.0.2.1"), email).status_code == 303


def test_after_a_quarter_of_an_hour_the_right_password_works_again(
    stranger: TestClient, with_password: WithPassword
) -> None:
    email = with_password("technician")
    for _ in range(TRIES):
        sign_in(stranger, email, "a guess that is wrong")
    assert sign_in(stranger, email).status_code == 429
    at(16)
    assert sign_in(stranger, email).status_code == 303


def test_a_right_password_forgets_the_wrong_ones_before_it(app: FastAPI, with_password: WithPassword) -> None:
    email = with_password("technician")
    for number in range(2 * TRIES):
        client = visitor(app, f"192.0.2.{number}")
        if number == TRIES - 1:
            assert sign_in(client, email).status_code == 303
        else:
            assert sign_in(client, email, "a guess that is wrong").status_code == 401


def test_only_the_digest_of_a_session_is_stored(
    stranger: TestClient, with_password: WithPassword, database: Database
) -> None:
    token = cookie_of(sign_in(stranger, with_password("technician"))).value
    (row,) = sessions(database)
    assert row.token_hash == hashlib.sha256(token.encode()).hexdigest()
    assert token not in str(row.model_dump())


def test_every_sign_in_gets_a_token_that_was_never_sent_before(
    stranger: TestClient, with_password: WithPassword
) -> None:
    email = with_password("technician")
    stranger.cookies.set("pairtrail", "planted-by-somebody-else")
    tokens = {cookie_of(sign_in(stranger, email)).value for _ in range(3)}
    assert len(tokens) == 3
    assert "planted-by-somebody-else" not in tokens
    assert min(len(token) for token in tokens) >= 43  # 256 bits in base64


def test_on_plain_http_the_cookie_is_for_this_site_alone_and_ends_with_the_browser(
    stranger: TestClient, with_password: WithPassword
) -> None:
    cookie = cookie_of(sign_in(stranger, with_password("technician")))
    assert cookie.key == "pairtrail"
    assert cookie["httponly"]
    assert cookie["samesite"] == "lax"
    assert cookie["path"] == "/"
    assert not any(cookie[name] for name in ("secure", "domain", "max-age", "expires"))


def test_on_https_the_cookie_cannot_be_planted_and_is_given_up_in_the_form_it_was_set(
    settings: Settings, house: House, with_password: WithPassword
) -> None:
    app = build(settings.model_copy(update={"secure_cookies": True}))
    app.state.passwords = CHEAP
    client = visitor(app, base_url="https://lab.example")
    cookie = cookie_of(sign_in(client, with_password("technician")))
    given_up = SimpleCookie(client.post("/sign-out").headers.get_list("set-cookie")[-1])["__Host-pairtrail"]
    # The draft of RFC 6265bis, 4.1.3.2: such a name is taken only with Secure, Path=/ and no Domain.
    for each in (cookie, given_up):
        assert each.key == "__Host-pairtrail"
        assert each["secure"]
        assert each["path"] == "/"
        assert not each["domain"]
    assert given_up["max-age"] == "0"
    app.state.database.close()


def test_signing_out_ends_the_session_here_and_for_a_copied_cookie(
    app: FastAPI, stranger: TestClient, with_password: WithPassword, house: House, journal: Journal
) -> None:
    token = cookie_of(sign_in(stranger, with_password("technician"))).value
    copied = visitor(app)
    copied.cookies.set("pairtrail", token)
    assert copied.get("/").status_code == 200
    assert stranger.post("/sign-out").headers["location"] == "/sign-in"
    assert stranger.get("/").headers["location"] == "/sign-in?then=/"
    assert copied.get("/").headers["location"] == "/sign-in?then=/"
    assert [entry.staff_id for entry in journal("signed_out")] == [house.people["technician"]]


def test_signing_out_leaves_a_colleague_and_the_own_second_browser_signed_in(app: FastAPI, browser: Browser) -> None:
    here, elsewhere, colleague = browser("technician"), browser("technician"), browser("second technician")
    here.post("/sign-out")
    assert here.get("/").status_code == 303
    assert elsewhere.get("/").status_code == 200
    assert colleague.get("/").status_code == 200


def test_signing_out_twice_or_signed_out_changes_nothing(stranger: TestClient, journal: Journal) -> None:
    assert stranger.post("/sign-out").status_code == 303
    assert journal("signed_out") == []


def test_a_session_left_alone_for_too_long_is_ended_and_journalled_once(
    browser: Browser, settings: Settings, house: House, journal: Journal
) -> None:
    technician = browser("technician")
    at(settings.idle_minutes - 1)
    assert technician.get("/queue/press").status_code == 200
    at(2 * settings.idle_minutes)
    answer = technician.get("/queue/press")
    assert answer.headers["location"] == "/sign-in?then=/queue/press"
    assert "You were away for a while" in technician.get("/sign-in").text
    assert technician.get("/").status_code == 303
    assert technician.post("/lab").status_code == 401
    assert [entry.staff_id for entry in journal("signed_out_idle")] == [house.people["technician"]]


def test_a_clock_put_back_does_not_revive_an_ended_session(browser: Browser, settings: Settings) -> None:
    technician = browser("technician")
    at(settings.idle_minutes + 1)
    technician.get("/")
    at(0)
    assert technician.get("/").status_code == 303


def test_last_seen_is_written_at_most_once_a_minute(browser: Browser, database: Database) -> None:
    technician = browser("technician")
    (began,) = sessions(database)
    for seconds in (10, 30, 59):
        at(seconds / 60)
        assert technician.get("/").status_code == 200
    assert sessions(database) == [began]
    at(1.5)
    technician.get("/")
    (seen,) = sessions(database)
    assert timedelta(minutes=1.5) <= seen.seen_at - began.seen_at < timedelta(minutes=2)
    at(2)
    technician.get("/")
    assert sessions(database) == [seen]


THEN = {
    "/queue/press": "/queue/press",
    "/find?q=MR 22": "/find?q=MR%2022",
    "": "/",
    "queue/press": "/",
    "https://elsewhere.example/": "/",
    "//elsewhere.example": "/",
    "/\\elsewhere.example": "/",
    "\\\\elsewhere.example": "/",
    "/\t/elsewhere.example": "/",
    "/\n/elsewhere.example": "/",
    "javascript:alert(1)": "/",
}
"""What the door was asked to lead to, and where it leads."""


def test_after_signing_in_one_comes_to_where_one_wanted_to_go_but_never_to_another_site(
    stranger: TestClient, with_password: WithPassword
) -> None:
    email = with_password("technician")
    led = {then: sign_in(stranger, email, then=then).headers["location"] for then in THEN}
    assert led == THEN


def test_a_signed_out_person_comes_back_to_the_page_that_was_asked_for_with_its_question(
    stranger: TestClient, with_password: WithPassword
) -> None:
    door = stranger.get("/find", params={"q": "MR 22&then=//elsewhere.example"})
    assert door.status_code == 303
    page = stranger.get(door.headers["location"])
    assert 'name="then" value="/find?q=MR+22%26then%3D%2F%2Felsewhere.example"' in page.text


def test_without_https_off_this_machine_the_door_says_what_is_missing(app: FastAPI) -> None:
    # Secure Contexts (W3C), 3.1: https, and http to 127.0.0.0/8, ::1 or localhost.
    protected = ("http://127.0.0.1", "http://localhost", "http://[::1]", "https://lab.example")
    for address in (*protected, "http://lab.example", "http://192.0.2.4"):
        text = visitor(app, base_url=address).get("/sign-in").text
        for words in ("This connection is not protected", "camera", "passkey", "offline"):
            assert (words in text) is (address not in protected), address
