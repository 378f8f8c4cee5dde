"""What the person who runs the server does for people: invites, a way back for the last manager, keys for programs."""

from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from typer.testing import CliRunner, Result

from app import cli
from app.settings import Settings
from tests.house import House
from tests.people.conftest import PASSWORD, visitor


@pytest.fixture
def env(settings: Settings) -> dict[str, Any]:
    return {"PAIRTRAIL_DATA": str(settings.data), "PAIRTRAIL_DATABASE_URL": settings.database_url}


def run(env: dict[str, Any], *words: str) -> Result:
    return CliRunner().invoke(cli.app, words, env=env)


def test_someone_is_invited(stranger: TestClient, house: House, env: dict[str, Any]) -> None:
    words = ("--name", "Elowen Sand", "--role", "clinician", "--role", "technician", "--clinic", "Gull Lane")
    made = run(env, "staff", "add", "elowen@lab.example", *words)
    assert made.exit_code == 0, made.output
    assert stranger.post(made.output.strip(), data={"password": PASSWORD}).status_code == 303
    assert stranger.get("/orders/new").status_code == 200


def test_an_invitation_that_cannot_be_says_why(house: House, env: dict[str, Any]) -> None:
    for words, sentence in (
        (("elowen", "--name", "Elowen Sand", "--role", "technician"), "reads like name@place.example"),
        (("elowen@lab.example", "--name", "Elowen Sand", "--role", "owner"), "Choose one role or more."),
        (("elowen@lab.example", "--name", "E", "--role", "clinician", "--clinic", "Nowhere"), "no clinic Nowhere"),
        (("manager@lab.example", "--name", "E", "--role", "manager"), "already works here"),
    ):
        refused = run(env, "staff", "add", *words)
        assert refused.exit_code == 1
        assert sentence in refused.output


def test_the_last_manager_who_forgot_the_password_comes_back_in(
    app: FastAPI, stranger: TestClient, env: dict[str, Any]
) -> None:
    made = run(env, "staff", "password", "Manager@lab.example")
    assert stranger.post(made.output.strip(), data={"password": PASSWORD}).status_code == 303
    again = visitor(app).post("/sign-in", data={"email": "manager@lab.example", "password": PASSWORD})
    assert again.status_code == 303


def test_a_token_is_printed_as_the_last_line_and_acts_as_its_person(
    app: FastAPI, house: House, env: dict[str, Any]
) -> None:
    token = run(env, "token", "technician@lab.example").output.splitlines()[-1]
    client = visitor(app)
    assert client.get("/api/v1/queues", headers={"authorization": f"Bearer {token}"}).status_code == 200
    assert client.get("/api/v1/queues", headers={"authorization": f"Bearer {token}x"}).status_code == 401


@pytest.mark.parametrize("command", [("token",), ("staff", "password")])
def test_nobody_gets_a_way_in_who_does_not_work_here(
    house: House, env: dict[str, Any], command: tuple[str, ...]
) -> None:
    refused = run(env, *command, "nobody@lab.example")
    assert refused.exit_code == 1
    assert "Nobody with the e-mail address nobody@lab.example works here." in refused.output
