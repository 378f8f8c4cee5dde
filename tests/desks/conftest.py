"""The whole app over one lab: programs and browsers of its people."""

from collections.abc import Callable, Iterator

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from app.database import Database
from app.main import build
from app.settings import Settings
from tests import house as builders
from tests.house import House


@pytest.fixture
def house(database: Database) -> House:
    return builders.open_lab(database)


@pytest.fixture
def app(settings: Settings, house: House) -> Iterator[FastAPI]:
    app = build(settings)
    yield app
    app.state.database.close()


@pytest.fixture
def program(app: FastAPI, house: House) -> Callable[[str], TestClient]:
    return lambda who: builders.program(app, house.people[who])


@pytest.fixture
def browser(app: FastAPI, house: House) -> Callable[[str], TestClient]:
    return lambda who: builders.browser(app, house.people[who])
