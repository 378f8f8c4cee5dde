"""The network goes while a rack is worked, and comes back: every act lands once, or comes back to who did it."""

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect
from sqlmodel import col, select

from app import clock
from app.bench.rules import cards
from app.bench.tables import Move
from app.database import Database
from app.people.rules import hash_of, new_token
from app.people.tables import SignedIn
from app.settings import ROOT, Settings
from tests import house as builders
from tests.bench.conftest import Lab
from tests.browser.station import Station

RACK = 30
MOVED_MEANWHILE = (3, 9, 14, 20, 29)


class Server:
    """A process of its own on one port, that can be killed and started again."""

    def __init__(self, settings: Settings) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.address = f"http://127.0.0.1:{self.port}"
        names = {"PAIRTRAIL_DATA": str(settings.data), "PAIRTRAIL_DATABASE_URL": settings.database_url}
        self._environment = os.environ | names
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        command = [sys.executable, "-m", "uvicorn", "app.main:build", "--factory", "--log-level", "error"]
        self._process = subprocess.Popen([*command, "--port", str(self.port)], cwd=ROOT, env=self._environment)
        until = time.monotonic() + 20
        while time.monotonic() < until:
            try:
                urllib.request.urlopen(f"{self.address}/health/live", timeout=1).close()
                return
            except OSError:
                time.sleep(0.05)
        raise AssertionError("the server did not start")

    def kill(self) -> None:
        if self._process:
            self._process.send_signal(signal.SIGKILL)
            self._process.wait(10)
        self._process = None


@pytest.fixture
def server(settings: Settings) -> Iterator[Server]:
    server = Server(settings)
    yield server
    server.kill()


@pytest.fixture
def lab(database: Database) -> Lab:
    return Lab(database, builders.open_lab(database))


@pytest.fixture
def tablet(chromium: Browser, server: Server, lab: Lab) -> Iterator[Callable[[], Page]]:
    contexts = []

    def signed_in() -> Page:
        context = chromium.new_context(viewport={"width": 800, "height": 1280}, base_url=server.address)
        contexts.append(context)
        comes(lab, context, server, "technician")
        page = context.new_page()
        page.set_default_timeout(15_000)
        return page

    yield signed_in
    for context in contexts:
        context.close()


def comes(lab: Lab, context: BrowserContext, server: Server, who: str) -> None:
    """This person is signed in on the tablet from now on."""
    token, now = new_token(), clock.now()
    with lab.database.writing() as db:
        staff_id = lab.house.people[who]
        db.add(SignedIn(token_hash=hash_of(token), staff_id=staff_id, started_at=now, seen_at=now))
    context.add_cookies([{"name": "pairtrail", "value": token, "url": server.address}])


@pytest.mark.both_databases
def test_thirty_scans_without_a_server_land_once_or_come_back(
    lab: Lab, server: Server, tablet: Callable[[], Page], picture: Callable[[Page, str], None]
) -> None:
    codes = [lab.order(label=f"MR {n}") for n in range(RACK + 1)]
    for code in codes:
        lab.walk(code, "press")
    server.start()
    bench = Station(tablet(), "press")
    first, *rack = codes
    bench.scan(f"{first}/1")
    bench.card(cards.DONE)
    bench.says("done", "It waits at")
    bench.page.wait_for_selector("html[data-kept]", state="attached")

    server.kill()
    for code in rack:
        bench.scan(f"{code}/1")
        bench.card(cards.DONE)
    expect(bench.page.locator("[data-waiting] li")).to_have_count(RACK, timeout=60_000)
    expect(bench.page.locator("[data-line]")).to_contain_text("30 acts wait to be sent")
    bench.scan(f"{rack[0]}/1")
    bench.says("waits", "waits to be sent")
    picture(bench.page, "station-offline")
    bench.page.reload()
    bench.ready()
    expect(bench.page.locator("[data-waiting] li")).to_have_count(RACK)
    bench.scan(f"{rack[0]}/1")
    bench.says("waits", "waits to be sent")

    gone = [rack[n] for n in MOVED_MEANWHILE]
    for code in gone:
        lab.act(code, "park", by="second technician", reason="machine", waiting_on="lab")
    server.start()
    expect(bench.page.locator("[data-waiting] li")).to_have_count(0, timeout=60_000)
    back = bench.page.locator("[data-back] li")
    expect(back).to_have_count(len(gone))
    assert [words.split()[0] for words in back.all_inner_texts()] == gone, "in the order in which they were done"
    expect(back.first).to_contain_text("Second technician")
    picture(bench.page, "station-came-back")

    landed = [code for code in rack if code not in gone]
    assert {lab.at(code).stage for code in landed} == {"cover"}
    assert {lab.at(code).stage for code in gone} == {"press"}
    with lab.database.reading() as db:
        pressed = [move for move in db.exec(select(Move)) if (move.act, move.from_stage) == ("advance", "press")]
    assert len(pressed) == len(landed) + 1
    ids = {lab.row(code)["id"]: code for code in landed}
    assert [ids[move.pair_id] for move in pressed if move.pair_id in ids] == landed, "sent in order"
    assert all(move.done_at < move.at for move in pressed if move.pair_id in ids), "when it was done, not when sent"


def test_an_answer_that_was_lost_on_its_way_is_not_done_twice(
    lab: Lab, server: Server, tablet: Callable[[], Page]
) -> None:
    code = lab.order()
    lab.walk(code, "press")
    server.start()
    bench = Station(tablet(), "press")
    bench.scan(f"{code}/1")
    bench.says("here")
    swallowed: list[Any] = []

    def swallow(route: Route) -> None:
        # The server does it; the answer never arrives.
        if not swallowed:
            swallowed.append(route.fetch())
            route.abort()
        else:
            route.continue_()

    bench.page.route("**/bench/acts", swallow)
    bench.card(cards.DONE)
    bench.says("done", "sent when the network is back")
    expect(bench.page.locator("[data-waiting] li")).to_have_count(0, timeout=20_000)
    expect(bench.page.locator("[data-back] li")).to_have_count(0)
    assert lab.at(code).stage == "cover"
    assert swallowed[0].status == 200


def test_an_act_that_waits_can_be_taken_back_and_is_never_sent(
    lab: Lab, server: Server, tablet: Callable[[], Page]
) -> None:
    code = lab.order()
    lab.walk(code, "press")
    server.start()
    bench = Station(tablet(), "press")
    server.kill()
    bench.scan(f"{code}/1")
    bench.card(cards.DONE)
    bench.says("done", "sent when the network is back")
    bench.card(cards.TAKE_BACK)
    bench.says("noted", "nothing was sent")
    server.start()
    expect(bench.page.locator("[data-line]")).to_be_hidden(timeout=20_000)
    assert lab.at(code).stage == "press"


def test_what_waits_goes_out_for_who_did_it_alone(lab: Lab, server: Server, tablet: Callable[[], Page]) -> None:
    code = lab.order()
    lab.walk(code, "press")
    server.start()
    bench = Station(tablet(), "press")
    server.kill()
    bench.scan(f"{code}/1")
    bench.card(cards.DONE)
    bench.says("done", "sent when the network is back")
    comes(lab, bench.page.context, server, "second technician")
    server.start()
    expect(bench.page.locator(".person")).to_contain_text("Second technician", timeout=20_000)
    bench.page.wait_for_timeout(6_000)
    assert lab.at(code).stage == "press", "another's tablet sends nothing in that person's name"
    assert bench.lines("waiting") == []
    comes(lab, bench.page.context, server, "technician")
    bench.page.reload()
    bench.ready()
    expect(bench.page.locator("[data-waiting] li")).to_have_count(0)
    assert lab.at(code).stage == "cover"
    with lab.database.reading() as db:
        last = db.exec(select(Move).order_by(col(Move.id).desc())).first()
    assert last is not None
    assert last.staff_id == lab.house.people["technician"]
