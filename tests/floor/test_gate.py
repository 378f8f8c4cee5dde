"""Every request: cross-site ones are refused, answers carry the headers, people and programs can read a refusal."""

from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from app.main import build
from app.settings import Settings


@pytest.fixture
def client(settings: Settings) -> Iterator[TestClient]:
    with TestClient(build(settings)) as client:
        yield client


COOKIE = {"cookie": "pairtrail=anything"}


@pytest.mark.parametrize(
    ("headers", "passes"),
    [
        ({"sec-fetch-site": "same-origin"} | COOKIE, True),
        ({"sec-fetch-site": "none"} | COOKIE, True),
        ({"sec-fetch-site": "same-site"} | COOKIE, False),
        ({"sec-fetch-site": "cross-site"}, False),
        ({"origin": "http://testserver"} | COOKIE, True),
        ({"origin": "http://elsewhere.example"}, False),
        ({"origin": "null"} | COOKIE, False),
        ({}, True),
        (COOKIE, False),
        ({"cookie": "__Host-pairtrail=anything"}, False),
    ],
)
def test_a_changing_request_from_another_site_is_refused(
    client: TestClient, headers: dict[str, str], passes: bool
) -> None:
    status = client.post("/nowhere", headers=headers).status_code
    assert (status != 403) is passes


def test_reading_is_never_refused_as_cross_site(client: TestClient) -> None:
    assert client.get("/health/live", headers={"sec-fetch-site": "cross-site"}).status_code == 200


def test_pages_forbid_inline_code_framing_and_caching(client: TestClient) -> None:
    answer = client.get("/nowhere")
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe-inline" not in policy
    assert "frame-ancestors 'none'" in policy
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cache-control"] == "no-store"
    assert "server" not in answer.headers


def test_an_unknown_address_is_a_page_for_people_and_a_problem_for_programs(client: TestClient) -> None:
    page = client.get("/nowhere")
    assert page.status_code == 404
    assert page.headers["content-type"].startswith("text/html")
    problem = client.get("/api/v1/nowhere")
    assert problem.status_code == 404
    assert problem.headers["content-type"] == "application/problem+json"
    assert problem.json()["detail"] == "There is nothing at this address."


def test_a_body_over_the_limit_is_refused(client: TestClient) -> None:
    assert client.post("/api/v1/nowhere", content=b"x" * 1_100_000).status_code in (404, 413)


def test_the_server_is_ready_only_with_its_guards_and_migrations(client: TestClient) -> None:
    assert client.get("/health/ready").json() == {"status": "ready", "problems": []}
