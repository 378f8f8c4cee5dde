"""A list costs what it shows and no query per row: a page of fifty asks the database no more often than one of two."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import event

from app.bench.actions import materials
from app.database import Database
from tests.bench.conftest import Lab
from tests.house import House, program

Browser = Callable[[str], TestClient]


@pytest.fixture
def lab(database: Database, house: House) -> Lab:
    return Lab(database, house)


@contextmanager
def counted(app: FastAPI) -> Iterator[list[str]]:
    """Every statement that the app itself sends meanwhile; what opens a transaction is left out."""
    engine, sent = app.state.database.engine, []

    def note(_connection: Any, _cursor: Any, statement: str, *_rest: Any) -> None:
        if not statement.startswith("BEGIN"):
            sent.append(statement)

    event.listen(engine, "before_cursor_execute", note)
    try:
        yield sent
    finally:
        event.remove(engine, "before_cursor_execute", note)


@pytest.mark.parametrize("path", ["/queue/check_in", "/"])
@pytest.mark.parametrize("who", ["technician", "clinician"])
def test_more_rows_take_no_more_statements(app: FastAPI, browser: Browser, lab: Lab, path: str, who: str) -> None:
    person, few, many = browser(who), 2, 20
    for number in range(few):
        lab.order(label=f"A {number}")
    with counted(app) as for_few:
        assert person.get(path).status_code == 200
    for number in range(few, many):
        lab.order(label=f"A {number}")
    with counted(app) as for_many:
        page = person.get(path).text
    if path != "/":
        assert page.count('class="code"') == many
    assert 0 < len(for_many) <= len(for_few) <= 10


def test_a_press_queue_says_what_heat_each_pair_takes_and_asks_once_for_all(
    app: FastAPI, browser: Browser, lab: Lab
) -> None:
    technician, asked = browser("technician"), []
    for many in (2, 4):
        for number in range(2):
            lab.walk(lab.order(label=f"B {many}{number}"), "press")
        with counted(app) as sent:
            page = technician.get("/queue/press").text
        assert page.count("oven 180\u00a0°C, sheet 150–180\u00a0°C") == many
        asked.append(len(sent))
    assert asked[0] == asked[1]


@pytest.mark.parametrize("stage", ["pour", "press", "cover"])
def test_lots_in_use_stand_in_every_row_and_are_asked_for_once(
    app: FastAPI, browser: Browser, lab: Lab, stage: str
) -> None:
    technician, asked = browser("technician"), []
    for many in (0, 3, 6):
        for number in range(3 if many else 1):
            lab.walk(lab.order(label=f"B {many}{number}"), stage)
        if many == 3:
            take_one_of_each_into_use(lab)
        with counted(app) as sent:
            page = technician.get(f"/queue/{stage}").text
        rows = many + 1 if many else 0
        assert page.count("lot A 1 in use") == rows * (2 if stage == "cover" else 1)
        assert page.count('name="lots"') == page.count("in use</span>")
        asked.append(len(sent))
    without, few, many = asked
    prescriptions = 1 if stage == "cover" else 0  # at press the heat has asked for them, and plaster fits every cast
    assert few == many == without + prescriptions


def take_one_of_each_into_use(lab: Lab) -> None:
    with lab.database.writing() as db:
        technician = lab.house.viewer("technician")
        for kind, item, thickness in (
            ("plaster", "", ""),
            ("sheet", "polypropylene", "4"),
            ("cover", "eva", "3"),
            ("adhesive", "", ""),
        ):
            typed = {"kind": kind, "name": kind, "material": item, "thickness": thickness, "unit": "piece"}
            of = materials.add(db, by=technician, typed=typed | {"per_side": "1"})
            lot = materials.add_lot(db, by=technician, material_id=of, typed={"number": "A 1", "stock": "100"})
            materials.take_into_use(db, by=technician, lot_id=lot)


def test_a_program_s_list_takes_no_more_statements_for_more_rows(app: FastAPI, browser: Browser, lab: Lab) -> None:
    client = program(app, lab.house.people["technician"])
    lab.order()
    with counted(app) as for_one:
        assert len(client.get("/api/v1/pairs?stage=check_in").json()["items"]) == 1
    for number in range(10):
        lab.order(label=f"A {number}")
    with counted(app) as for_many:
        assert len(client.get("/api/v1/pairs?stage=check_in").json()["items"]) == 11
    assert 0 < len(for_many) <= len(for_one)


@pytest.mark.parametrize("path", ["/", "/queue/check_in", "/flags", "/turnaround"])
def test_a_page_that_nobody_changed_takes_no_statement_at_all(
    app: FastAPI, browser: Browser, lab: Lab, path: str
) -> None:
    """Any of fifty visits: PostgreSQL's mark is the whole server's, where another test may commit between two visits,
    and a minute may end there."""
    lab.order()
    manager = browser("manager")
    for _ in range(50):
        manager.get(path)
        with counted(app) as sent:
            assert manager.get(path).status_code == 200
        if not sent:
            break
    assert sent == []
