"""The lab of the bench's stories, the whole app over it, and a clock that is put to an hour of one winter."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient

from app import clock
from app.database import Database
from tests.bench.conftest import Lab
from tests.desks.conftest import app, browser, house, program
from tests.house import House

__all__ = ["app", "browser", "house", "program"]
START = datetime(2027, 1, 11, 8, tzinfo=UTC)
"""A Monday in Lisbon, where winter time is UTC, as the lab opens: it works from 8 to 17."""
Client = Callable[[str], TestClient]
At = Callable[..., None]
Figures = Callable[..., dict[str, Any]]


@pytest.fixture
def lab(database: Database, house: House) -> Lab:
    return Lab(database, house)


@pytest.fixture
def at() -> At:
    """`at(3, 2.5)`: half past ten of the Thursday, three days and two and a half hours after the start."""

    def turn(day: int, hour: float = 0) -> None:
        clock.set_shift(clock.shift() + (START + timedelta(days=day, hours=hour) - clock.now()))

    return turn


@pytest.fixture
def figures(program: Client) -> Figures:
    """What a manager's program reads, the stages by their keys: `figures(way="carved")`."""

    def read(**asked: Any) -> dict[str, Any]:
        answer = program("manager").get("/api/v1/turnaround", params=asked)
        assert answer.status_code == 200, answer.text
        found: dict[str, Any] = answer.json()
        return found | {"stages": {each["stage"]: each for each in found["stages"]}}

    return read
