"""A lab with tablets at its benches, and people with badge and PIN: how the stories of signing on begin."""

from dataclasses import dataclass

import httpx2
from fastapi import FastAPI
from fastapi.testclient import TestClient

from app.people import actions
from app.people.sessions import AtBench
from tests import house as builders
from tests.house import House
from tests.people.conftest import CHEAP, visitor

PIN = "2580"
WRONG = "3141"


@dataclass
class Benches:
    app: FastAPI
    house: House

    def tablet(self, name: str = "Press bench") -> TestClient:
        """A browser on which a manager signed in and enrolled it."""
        tablet = builders.browser(self.app, self.house.people["manager"])
        answer = tablet.post("/bench/enrol", data={"name": name})
        assert answer.headers["location"] == "/bench/sign-on", answer.text
        return tablet

    def badge(self, who: str = "technician", pin: str = PIN) -> str:
        """A badge for somebody, who has chosen a PIN."""
        with self.app.state.database.writing() as db:
            if pin:
                actions.choose_pin(db, CHEAP, by=self.house.viewer(who), pin=pin)
            return actions.make_badge(db, by=self.house.viewer("manager"), staff_id=self.house.people[who])

    def signed_on(self, who: str = "technician", name: str = "Press bench") -> TestClient:
        tablet = self.tablet(name)
        assert sign_on(tablet, self.badge(who)).headers["location"] == "/bench"
        return tablet

    def stranger(self) -> TestClient:
        return visitor(self.app)


def sign_on(tablet: TestClient, badge: str, pin: str = PIN, **more: str) -> httpx2.Response:
    return tablet.post("/bench/sign-on", data={"badge": badge, "pin": pin, **more})


def refused(answer: httpx2.Response) -> str:
    """The word that the sign-on page is given for a try that failed."""
    assert answer.status_code == 303
    assert "set-cookie" not in answer.headers
    return answer.headers["location"].partition("&refused=")[2]


def token_of(tablet: TestClient, name: str = "pairtrail-bench") -> str:
    return next(str(cookie.value) for cookie in tablet.cookies.jar if cookie.name == name)


def put(client: TestClient, name: str, value: str) -> None:
    """Gives a browser this cookie in place of the one it had."""
    for cookie in [each for each in client.cookies.jar if each.name == name]:
        client.cookies.jar.clear(cookie.domain, cookie.path, cookie.name)
    client.cookies.set(name, value, path="/bench")


def add_pages(app: FastAPI) -> None:
    """A page and an act that ask for who stands at the bench, below /bench and, by mistake, elsewhere."""

    def told(ask: AtBench) -> dict[str, object]:
        with ask.reading() as (viewer, _):
            return {
                "name": viewer.name,
                "roles": sorted(viewer.roles),
                "clinics": sorted(viewer.clinics),
                "station": ask.station,
            }

    def done(ask: AtBench) -> str:
        with ask.writing() as (viewer, _):
            return viewer.name

    for place in ("/bench/told", "/benches", "/elsewhere"):
        app.get(place)(told)
        app.post(place)(done)
