"""The whole app over one lab, whose clock can be put on."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta

import pytest

from app import clock
from app.database import Database
from app.people import actions as people
from app.settings import Settings
from tests.bench.conftest import Lab
from tests.desks.conftest import app, browser, house, program
from tests.exchange.mail import Catcher, Post
from tests.house import House

__all__ = ["app", "browser", "house", "program"]


@pytest.fixture
def lab(database: Database, house: House) -> Lab:
    return Lab(database, house)


@pytest.fixture
def later() -> Callable[..., None]:
    """Lets time pass: `later(days=31)`."""
    return lambda **much: clock.set_shift(clock.shift() + timedelta(**much))


@pytest.fixture
def catcher() -> Iterator[Catcher]:
    """A mail server that is not started yet."""
    catcher = Catcher()
    yield catcher
    catcher.stop()


@pytest.fixture
def with_mail(settings: Settings, catcher: Catcher) -> Settings:
    """The settings of a lab that sends mail."""
    mail = {"smtp_url": f"smtp://127.0.0.1:{catcher.port}", "mail_from": "Saltmarsh Bay Lab <told@lab.example>"}
    return settings.model_copy(update={**mail, "address": "https://pairs.lab.example/"})


@pytest.fixture
def post(database: Database, house: House, with_mail: Settings) -> Post:
    return Post(database, with_mail)


@pytest.fixture
def choose(database: Database, house: House) -> Callable[..., None]:
    """Somebody of the house chooses what to be told of: `choose("manager", "late", "digest")`."""

    def choosing(who: str, *wanted: str, hour: int = 7) -> None:
        with database.writing() as db:
            people.choose_told(db, by=house.viewer(who), wanted=wanted, hour=hour)

    return choosing


@pytest.fixture
def monday(lab: Lab) -> datetime:
    """The story begins on a Monday at 9:00 in Lisbon, where winter time is UTC."""
    start = datetime(2027, 1, 11, 9, tzinfo=UTC)
    clock.set_shift(clock.shift() + (start - clock.now()))
    return start
