"""The figures for a monitoring program: who may read them, what is in them, and what never is."""

import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from prometheus_client.parser import text_string_to_metric_families

from app import outbox
from app.bench.rules.stages import STAGES
from app.database import Database
from app.exchange.actions import TIMETABLE, Job, Worker
from app.exchange.actions.timetable import DAY
from app.exchange.queries import somebody_works
from app.main import build
from app.settings import Settings
from tests.bench.conftest import Lab
from tests.house import House

Client = Callable[[str], TestClient]
Figures = dict[tuple[str, ...], float]


@pytest.fixture
def here(app: FastAPI) -> Iterator[TestClient]:
    """A program on the server's own machine."""
    with TestClient(app, base_url="http://127.0.0.1", client=("127.0.0.1", 50_000), follow_redirects=False) as client:
        yield client


def figures(client: TestClient, name: str) -> Figures:
    """One family's samples, by their own name's end and the values of their labels without the process.

    Labels stand in the order of their names, as the text has them.
    """
    answer = client.get("/metrics")
    assert answer.status_code == 200, answer.text
    return {
        (sample.name.removeprefix(name), *(v for k, v in sample.labels.items() if k != "process")): sample.value
        for family in text_string_to_metric_families(answer.text)
        if family.name == name
        for sample in family.samples
    }


def test_only_this_machine_and_a_manager_s_token_read_them(app: FastAPI, program: Client, browser: Client) -> None:
    def status(client: TestClient) -> int:
        return int(client.get("/metrics").status_code)

    def caller(base_url: str, address: str) -> TestClient:
        return TestClient(app, base_url=base_url, client=(address, 50_000))

    assert status(caller("http://127.0.0.1", "127.0.0.1")) == 200
    assert status(caller("http://[::1]", "::1")) == 200
    assert status(caller("http://lab.example", "127.0.0.1")) == 404, "a page that calls itself by another name"
    assert status(caller("http://127.0.0.1", "192.0.2.7")) == 404
    assert status(browser("manager")) == 404, "a cookie is no key for programs"
    assert status(program("manager")) == 200
    assert status(program("technician")) == 403
    wrong = caller("http://lab.example", "192.0.2.7").get("/metrics", headers={"authorization": "Bearer wrong"})
    assert (wrong.status_code, wrong.headers["content-type"]) == (401, "application/problem+json")


def test_requests_are_counted_by_template_method_and_status(here: TestClient) -> None:
    for path in ("/health/live", "/health/live?a=b", "/pair/26-00417-D", "/static/look.css", "/no/such/place"):
        here.get(path)
    here.post("/health/live")
    here.request("BREW", "/health/live")
    found = figures(here, "pairtrail_request_seconds")
    counts = {labels[1:]: value for labels, value in found.items() if labels[0] == "_count"}
    assert counts == {
        ("GET", "/health/live", "200"): 2,
        ("POST", "/health/live", "405"): 1,
        ("other", "/health/live", "405"): 1,
        ("GET", "/pair/{code}", "303"): 1,
        ("GET", "/static", "200"): 1,
        ("GET", "none", "404"): 1,
    }


def test_a_duration_is_counted_in_every_bucket_that_is_long_enough(here: TestClient) -> None:
    here.get("/health/live")
    found = figures(here, "pairtrail_request_seconds")
    buckets = [value for labels, value in found.items() if labels[0] == "_bucket"]
    assert buckets == sorted(buckets)
    assert buckets[-1] == 1
    assert 0 < found["_sum", "GET", "/health/live", "200"] < 10


def test_a_page_that_fails_is_counted_as_our_fault(app: FastAPI) -> None:
    @app.get("/break")
    def fail() -> None:
        raise RuntimeError

    client = TestClient(app, base_url="http://127.0.0.1", client=("127.0.0.1", 1), raise_server_exceptions=False)
    assert client.get("/break").status_code == 500
    assert figures(client, "pairtrail_request_seconds")["_count", "GET", "/break", "500"] == 1


def test_a_page_that_is_answered_again_counts_under_its_template(
    app: FastAPI, here: TestClient, browser: Client
) -> None:
    technician = browser("technician")
    for _ in range(3):
        assert technician.get("/queue/press").status_code == 200
    assert figures(here, "pairtrail_request_seconds")["_count", "GET", "/queue/{stage}", "200"] == 3


def test_acts_are_counted_by_act_and_only_if_they_were_done(
    here: TestClient, program: Client, lab: Lab, house: House
) -> None:
    technician = program("technician")
    order = {
        "clinic_id": house.clinics["house"],
        "label": "MR 2210",
        "way": "cast",
        "sides": "L",
        "captures": {"L": "foam"},
        "prescription": {"L": {"shell": "polypropylene", "shell_thickness": 40}},
    }
    code = program("clinician").post("/api/v1/orders", json=order).json()["code"]
    for _ in range(2):  # the second is refused: the pair is no longer there
        technician.post(f"/api/v1/pairs/{code}/acts", json={"act": "advance", "from_stage": "check_in"})
    assert figures(here, "pairtrail_acts") == {("_total", "advance"): 1, ("_total", "order"): 1}


def test_open_pairs_stand_under_their_stages(here: TestClient, lab: Lab) -> None:
    for _ in range(2):
        lab.walk(lab.order(), "press")
    lab.act(lab.order(), "ask", reason="Which side?")
    waiting = figures(here, "pairtrail_open_pairs")
    assert {labels[1]: many for labels, many in waiting.items() if many} == {"check_in": 1, "press": 2}
    assert {labels[1] for labels in waiting} == set(STAGES), "a queue that is empty says so"
    assert figures(here, "pairtrail_parked_pairs")["", "check_in"] == 1


def test_what_the_worker_did_and_could_not_do_is_seen(here: TestClient, database: Database) -> None:
    def fail(_: object) -> Any:
        raise ConnectionError

    assert figures(here, "pairtrail_worker_works") == {("",): 0}
    with database.writing() as db:
        outbox.put(db, "greet", {})
        outbox.put(db, "nobody's", {})
    jobs = [Job("broken", DAY, fail), Job("whole", DAY, lambda _db: 0)]
    Worker(database, jobs, {"greet": fail}).tick()
    assert figures(here, "pairtrail_worker_works") == {("",): 1}
    assert figures(here, "pairtrail_outbox_rows") == {("", "due"): 1, ("", "failing"): 1, ("", "given_up"): 0}
    assert figures(here, "pairtrail_job_failing") == {("", "broken"): 1, ("", "whole"): 0}
    assert figures(here, "pairtrail_job_failures")["_total", "broken"] == 1
    assert [labels[1] for labels in figures(here, "pairtrail_job_ran_timestamp_seconds")] == ["whole"]


def test_the_program_s_version_and_build_are_told(here: TestClient) -> None:
    ((_, digest, version),) = figures(here, "pairtrail_build_info")
    assert here.get("/api/v1/openapi.json").json()["info"]["version"] == version
    assert len(digest) == 12


def test_nothing_of_a_pair_or_a_person_is_in_them(here: TestClient, browser: Client, lab: Lab) -> None:
    code = lab.order(label="MR 7731")
    for path in (f"/pair/{code}", f"/find?q={code}", f"/nowhere/{code}"):
        browser("technician").get(path)
    told = here.get("/metrics").text
    for words in (code, "7731", "Technician", "lab.example"):
        assert words not in told


def test_two_apps_in_one_process_count_apart(here: TestClient, settings: Settings, house: House) -> None:
    here.get("/health/live")
    other = build(settings)
    with TestClient(other, base_url="http://127.0.0.1", client=("127.0.0.1", 1)) as client:
        assert figures(client, "pairtrail_request_seconds") == {}


def test_the_server_s_own_worker_works_while_it_serves(settings: Settings, house: House, database: Database) -> None:
    app = build(settings.model_copy(update={"worker": True}))
    with TestClient(app, base_url="http://127.0.0.1", client=("127.0.0.1", 1)) as client:
        until = time.monotonic() + 10
        while len(figures(client, "pairtrail_job_ran_timestamp_seconds")) < len(TIMETABLE) and time.monotonic() < until:
            time.sleep(0.02)
        assert figures(client, "pairtrail_worker_works") == {("",): 1}
        assert len(figures(client, "pairtrail_job_ran_timestamp_seconds")) == len(TIMETABLE)
    with database.reading() as db:
        assert not somebody_works(db), "a server that ends leaves the turn to the next"
