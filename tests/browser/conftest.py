"""A real server and a real browser: three people of one demo lab, each in a browser of their own."""

import os
import re
import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import Browser, Page, sync_playwright

from app import clock
from app.database import Database
from app.demo import volume
from app.demo.actions import open_lab
from app.main import build
from app.people.rules import hash_of, new_token
from app.people.tables import SignedIn
from app.settings import Settings
from app.storage import Storage
from app.turnaround.actions.forecasting import make_forecasts
from tests.bench.conftest import Lab
from tests.browser.axe import violations
from tests.house import demo_house

PICTURES = os.environ.get("PAIRTRAIL_PICTURES")
"""The folder that keeps what pages look like, for people to look at; without one no pictures are taken."""
SizedPage = Callable[..., Page]
Look = Callable[[Page, str, str], list[str]]
WIDTHS = (1280, 820)
"""A desk's and a tablet's; no rule of axe-core asks for one."""


QUIET = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-sync"]
Launch = Callable[..., Browser]


@pytest.fixture(scope="session")
def launch() -> Iterator[Launch]:
    """Starts a browser with these flags more."""
    path = os.environ.get("PAIRTRAIL_CHROMIUM") or None
    with sync_playwright() as playwright:
        yield lambda *flags: playwright.chromium.launch(executable_path=path, args=[*QUIET, *flags])


@pytest.fixture(scope="session")
def chromium(launch: Launch) -> Iterator[Browser]:
    browser = launch()
    yield browser
    browser.close()


@pytest.fixture
def stock() -> int:
    """How many finished pairs the lab has before the story begins; none unless a test says so."""
    return 0


@pytest.fixture(scope="session")
def demo_labs(migrated: str, tmp_path_factory: pytest.TempPathFactory) -> Callable[[int], Path]:
    """The data folder of a demo lab with so many finished pairs, made once; stories begin with a copy."""

    @cache
    def made(stock: int) -> Path:
        folder = tmp_path_factory.mktemp("demo")
        shutil.copy(migrated.removeprefix("sqlite:///"), folder / "pairtrail.db")
        database = Database(Settings(data=folder, database_url="").url)
        with database.writing() as db:
            open_lab(db)
        if stock:
            volume.fill_demo(database, Storage(folder / "files"), finished=stock)
            make_forecasts(database)
        database.close()
        return folder

    return made


@pytest.fixture
def address(tmp_path: Path, stock: int, demo_labs: Callable[[int], Path]) -> Iterator[str]:
    """The address of a server of the demo lab, on a port of its own."""
    shutil.copytree(demo_labs(stock), tmp_path, dirs_exist_ok=True)
    settings = Settings(data=tmp_path, database_url="")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = uvicorn.Server(uvicorn.Config(build(settings), host="127.0.0.1", port=port, log_level="error"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    until = time.monotonic() + 20
    while not server.started and time.monotonic() < until:
        time.sleep(0.02)
    assert server.started, "the server did not start"
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(10)


@pytest.fixture
def sign_in(chromium: Browser, address: str) -> Iterator[SizedPage]:
    """Opens a browser for a role by the demo's own button; `width` is 1280 unless the story says otherwise."""
    contexts = []

    def open_as(role: str, width: int = 1280, javascript: bool = True) -> Page:
        context = chromium.new_context(viewport={"width": width, "height": 900}, java_script_enabled=javascript)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(10_000)
        page.goto(f"{address}/sign-in")
        page.get_by_role("button", name=role.capitalize(), exact=True).click()
        page.wait_for_url(f"{address}/")
        return page

    yield open_as
    for context in contexts:
        context.close()


@pytest.fixture
def story(address: str, tmp_path: Path) -> Iterator[Lab]:
    """The demo's people and clinics for telling what happened before: they act beside the server, without a browser."""
    database = Database(Settings(data=tmp_path, database_url="").url)
    yield Lab(database, demo_house(database))
    database.close()


@pytest.fixture
def come_in(chromium: Browser, address: str, story: Lab) -> Iterator[SizedPage]:
    """Opens a browser in which a person of the story is signed in already."""
    contexts = []

    def open_as(who: str, width: int = 1280, touch: bool = False) -> Page:
        token, now = new_token(), clock.now()
        with story.database.writing() as db:
            staff_id = story.house.people[who]
            db.add(SignedIn(token_hash=hash_of(token), staff_id=staff_id, started_at=now, seen_at=now))
        context = chromium.new_context(viewport={"width": width, "height": 900}, base_url=address, has_touch=touch)
        context.add_cookies([{"name": "pairtrail", "value": token, "url": address}])
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(10_000)
        page.goto("/")
        return page

    yield open_as
    for context in contexts:
        context.close()


@pytest.fixture
def picture() -> Callable[[Page, str], None]:
    """Keeps what a page looks like, where pictures are wanted."""

    def keep(page: Page, name: str) -> None:
        if PICTURES:
            file = re.sub("[^a-z0-9]+", "-", name.lower()).strip("-")
            page.screenshot(path=Path(PICTURES) / f"{file}.png", full_page=True)

    return keep


@pytest.fixture
def look(picture: Callable[[Page, str], None]) -> Look:
    """Opens a page and returns what axe-core has against it, and where it is wider than the window."""

    def look_at(page: Page, address: str, name: str) -> list[str]:
        page.set_viewport_size({"width": WIDTHS[0], "height": 900})
        page.goto(address)
        said = [f"{name}: {each['id']}, {each['nodes'][0]['html'][:160]}" for each in violations(page)]
        for width in WIDTHS:
            page.set_viewport_size({"width": width, "height": 900})
            picture(page, f"{name}-{width}")
            if page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth"):
                said.append(f"{name} at {width}: wider than the window")
        return said

    return look_at
