"""The demo's one-click sign-in: in a marked demo, on this machine, by its own name; anywhere else it does not exist."""

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from app.database import Database
from app.demo.actions import open_lab
from tests.house import House
from tests.people.conftest import visitor

HERE, ELSEWHERE = "127.0.0.1", "192.0.2.10"


@pytest.fixture
def demo(bare_app: FastAPI, database: Database) -> FastAPI:
    with database.writing() as db:
        open_lab(db)
    return bare_app


def sign_in_as(client: TestClient, role: str) -> int:
    return client.post("/demo/sign-in", data={"role": role}).status_code


@pytest.mark.parametrize(
    ("role", "name"), [("technician", "Tamsin Reed"), ("clinician", "Isolde Finch"), ("manager", "Morwenna Pike")]
)
def test_in_the_demo_one_click_signs_in_as_somebody_who_has_this_role_alone(
    demo: FastAPI, role: str, name: str
) -> None:
    client = visitor(demo, HERE)
    door = client.get("/sign-in").text
    assert f'name="role" value="{role}"' in door
    assert sign_in_as(client, role) == 303
    assert name in client.get("/").text


def test_every_name_of_this_machine_will_do(demo: FastAPI) -> None:
    for address, host in ((HERE, "http://localhost"), ("::1", "http://[::1]"), (HERE, "http://127.0.0.1:8000")):
        assert sign_in_as(visitor(demo, address, base_url=host), "manager") == 303, host


def test_an_unknown_role_is_not_found(demo: FastAPI) -> None:
    client = visitor(demo, HERE)
    for role in ("", "owner", "Manager", "technician clinician manager", "<script>"):
        assert sign_in_as(client, role) == 404, role
    assert client.get("/").status_code == 303


def test_off_this_machine_the_demo_neither_offers_nor_knows_it(demo: FastAPI) -> None:
    """A name of another site that leads to this machine counts as elsewhere: a page there could ask for it."""
    foreign = ("http://lab.example", "http://127.0.0.1.elsewhere.example", "http://192.0.2.10")
    places = [(HERE, host) for host in foreign]
    places += [(ELSEWHERE, host) for host in ("http://127.0.0.1", "http://localhost", "http://lab.example")]
    for address, host in places:
        client = visitor(demo, address, base_url=host)
        assert "/demo/sign-in" not in client.get("/sign-in").text, (address, host)
        assert sign_in_as(client, "manager") == 404, (address, host)
        assert client.get("/").status_code == 303


def test_in_a_real_lab_it_does_not_exist(app: FastAPI, house: House) -> None:
    client = visitor(app, HERE)
    assert "/demo/sign-in" not in client.get("/sign-in").text
    assert sign_in_as(client, "manager") == 404


def test_before_the_lab_is_set_up_it_does_not_exist(bare_app: FastAPI) -> None:
    assert sign_in_as(visitor(bare_app, HERE), "manager") == 404


def test_another_site_cannot_click_it_for_a_person(demo: FastAPI) -> None:
    client = visitor(demo, HERE)
    answer = client.post("/demo/sign-in", data={"role": "manager"}, headers={"sec-fetch-site": "cross-site"})
    assert answer.status_code == 403


def test_demo_pages_say_that_they_are_invented(demo: FastAPI) -> None:
    client = visitor(demo, HERE)
    sign_in_as(client, "manager")
    for address in ("/sign-in", "/", "/people", "/people/1", "/people/rights", "/lab"):
        assert "Demo: invented data" in client.get(address).text, address
