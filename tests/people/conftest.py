"""The whole app over one lab, its people's browsers, and passwords that cost nothing to compare."""

from collections.abc import Callable, Iterator

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from app.database import Database
from app.journal.tables import Entry
from app.main import build
from app.people import actions
from app.people.actions import Passwords
from app.settings import Settings
from tests import house as builders
from tests.house import House

CHEAP = Passwords(passes=1, memory_kib=8, lanes=1)
PASSWORD = "seven grey herons wade"
Browser = Callable[[str], TestClient]
Journal = Callable[[str], list[Entry]]


@pytest.fixture
def house(database: Database) -> House:
    return builders.open_lab(database)


@pytest.fixture
def bare_app(settings: Settings) -> Iterator[FastAPI]:
    """The app over an empty database: nobody has set up a lab."""
    app = build(settings)
    app.state.passwords = CHEAP
    yield app
    app.state.database.close()


@pytest.fixture
def app(bare_app: FastAPI, house: House) -> FastAPI:
    return bare_app


@pytest.fixture
def browser(app: FastAPI, house: House) -> Browser:
    """A browser in which somebody of the house is signed in."""
    return lambda who: builders.browser(app, house.people[who])


@pytest.fixture
def program(app: FastAPI, house: House) -> Browser:
    return lambda who: builders.program(app, house.people[who])


@pytest.fixture
def stranger(bare_app: FastAPI) -> TestClient:
    """A browser in which nobody is signed in."""
    return visitor(bare_app)


@pytest.fixture
def with_password(database: Database, house: House) -> Callable[[str], str]:
    """Lets somebody of the house choose the password; returns the e-mail address."""

    def choose(who: str, password: str = PASSWORD) -> str:
        with database.writing() as db:
            token = actions.password_link(db, by=house.viewer("manager"), staff_id=house.people[who])
            actions.accept(db, CHEAP, token=token, password=password)
        return f"{who.replace(' ', '.')}@lab.example"

    return choose


@pytest.fixture
def journal(database: Database) -> Journal:
    """The journal's entries of one kind, oldest first."""

    def read(what: str) -> list[Entry]:
        with database.reading() as db:
            return list(db.exec(select(Entry).where(Entry.what == what).order_by("id")))

    return read


def visitor(app: FastAPI, address: str = "192.0.2.10", base_url: str = "http://127.0.0.1") -> TestClient:
    """A browser at an address; 192.0.2.x and 198.51.100.x are set aside for documentation (RFC 5737)."""
    return TestClient(
        app,
        base_url=base_url,
        headers={"sec-fetch-site": "same-origin"},
        client=(address, 50_000),
        follow_redirects=False,
    )
