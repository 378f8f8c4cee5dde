"""The lab of the bench's stories, the whole app over it, and days as a calendar on the wall has them."""

from collections.abc import Callable
from datetime import UTC, date, datetime

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
def on_day() -> Callable[[date], None]:
    """Makes it ten in the morning of a day; days only go forward within a story."""

    def turn(day: date) -> None:
        now = clock.now() - clock.shift()
        clock.set_shift(datetime(day.year, day.month, day.day, 10, tzinfo=UTC) - now)

    return turn
