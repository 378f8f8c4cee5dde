"""Nothing typed is lost by signing out: a form sent too late waits for the sign-in and is sent when one says so."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from app import clock
from tests.house import House
from tests.people.conftest import PASSWORD, Browser, Journal, visitor
from tests.people.forms import Filled, read

WithPassword = Callable[[str], str]
TYPED: dict[str, str | list[str]] = {
    "name": 'Ada "<b>" Sand',
    "email": "ada@lab.example",
    "roles": ["technician", "manager"],
}


@pytest.fixture
def late(browser: Browser, with_password: WithPassword) -> TestClient:
    """A manager's browser in which the session has run out."""
    with_password("manager")
    client = browser("manager")
    clock.set_shift(timedelta(hours=1))
    return client


def go_on(client: TestClient, shown: Filled, password: str = PASSWORD) -> Filled:
    """Signs in with what the page holds, as its form would; returns the page that answers."""
    signing = {"email": ["manager@lab.example"], "password": [password]}
    return read(client.post("/sign-in", data=form(shown) | signing).text)


def form(shown: Filled) -> dict[str, list[str]]:
    """What the page sends along unseen, several values of one name included."""
    return {name: [value for key, value in shown.hidden if key == name] for name, _ in shown.hidden}


def test_a_form_that_came_too_late_is_sent_after_signing_in(late: TestClient, journal: Journal) -> None:
    answer = late.post("/people/invite", data=TYPED)
    assert answer.status_code == 401
    assert "You were away for a while" in answer.text
    ready = go_on(late, read(answer.text))
    assert journal("invited") == [], "nothing is sent unasked"
    assert "b" not in ready.tags
    assert late.post("/people/invite", data=form(ready)).status_code == 200
    (entry,) = journal("invited")
    assert entry.facts["roles"] == ["technician", "manager"]


def test_a_wrong_password_in_between_loses_nothing(late: TestClient, journal: Journal) -> None:
    waiting = read(late.post("/people/invite", data=TYPED).text)
    still = go_on(late, waiting, "a guess that is wrong")
    ready = go_on(late, still)
    assert late.post("/people/invite", data=form(ready)).status_code == 200
    assert len(journal("invited")) == 1


def test_an_act_without_fields_waits_too(late: TestClient, house: House, journal: Journal) -> None:
    address = f"/people/{house.people['technician']}/password-link"
    before = len(journal("password_link_made"))
    ready = go_on(late, read(late.post(address).text))
    assert len(journal("password_link_made")) == before
    assert late.post(address, data=form(ready)).status_code == 200
    assert len(journal("password_link_made")) == before + 1


def test_a_password_is_never_kept(late: TestClient) -> None:
    answer = late.post("/people/invite", data=TYPED | {"password": "nine brown otters swim"})
    assert "nine brown otters swim" not in answer.text
    assert "ada@lab.example" in answer.text


def test_a_kept_form_is_never_sent_to_another_site(app: FastAPI, with_password: WithPassword) -> None:
    signing = {"email": with_password("manager"), "password": PASSWORD, "waiting": "yes", "kept.name": "Ada"}
    for then in ("//elsewhere.example/", "https://elsewhere.example/", "javascript:alert(1)"):
        text = visitor(app).post("/sign-in", data=signing | {"then": then}).text
        assert 'action="/"' in text
        assert "elsewhere" not in text


def test_programs_get_a_refusal_and_no_page(app: FastAPI) -> None:
    answer = visitor(app).post("/api/v1/pairs/26-00001-X/acts", json={"act": "advance"})
    assert answer.status_code == 401
    assert answer.headers["content-type"] == "application/problem+json"
