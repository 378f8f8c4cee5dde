"""The whole app over one lab, whose clock can be put on."""

from collections.abc import Callable
from datetime import timedelta

import pytest

from app import clock
from app.database import Database
from tests.bench.conftest import Lab
from tests.desks.conftest import app, browser, house, program
from tests.house import House

__all__ = ["app", "browser", "house", "program"]


@pytest.fixture
def lab(database: Database, house: House) -> Lab:
    return Lab(database, house)


@pytest.fixture
def later() -> Callable[..., None]:
    """Lets time pass: `later(days=31)`."""
    return lambda **much: clock.set_shift(clock.shift() + timedelta(**much))
