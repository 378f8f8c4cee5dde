"""Every page for every role, at a desk's and a tablet's width: axe-core finds nothing, and its picture can be kept."""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Browser, Page

from app.main import build
from app.settings import Settings
from tests.browser.conftest import WIDTHS, Look

PAGES: dict[str, tuple[str, ...]] = {
    "technician": (
        "/",
        "/queue/check_in",
        "/queue/pour",
        "/queue/press",
        "/sheets/pour",
        "/sheets/oven",
        "/bench",
        "/bench?stage=pour",
        "/bench/cards",
        "/queue/dispense",
        "/arrivals",
        "/parcels",
        "/find?q=Q",
        "/materials",
        "/materials?lot=K",
        "/materials/1",
        "/materials/lots/1",
        "/materials/lots/1/label",
        "/pin",
        "/api/docs",
    ),
    "clinician": (
        "/",
        "/queue/dispense",
        "/queue/wear_in",
        "/orders/new",
        "/orders/starts",
        "/parcels",
        "/reviews",
        "/reviews/agenda",
        "/plans",
        "/flags",
        "/materials/held",
        "/me/told",
    ),
    "manager": (
        "/",
        "/queue/wear_in",
        "/flags",
        "/flags/limits",
        "/materials/lots/2",
        "/turnaround?months=12&bands=yes",
        "/turnaround?stage=press",
        "/turnaround?from=2026-13&way=baked",
        "/turnaround/pairs?stage=press&age=0-",
        "/turnaround/late",
        "/turnaround/what-if?more.press=1&away.cover=1&rush=20",
        "/turnaround/trust",
        "/turnaround/returns?months=12",
        "/turnaround/returns?months=12&by=clinic",
        "/turnaround/returns?from=2026-13",
        "/turnaround/returns/pairs?months=12",
        "/people",
        "/people/1",
        "/people/rights",
        "/people/tablets",
        "/bench/enrol",
        "/lab",
        "/lab/bench",
        "/journal",
        "/journal?kind=token_ended",
    ),
}
PAIRS = ("check_in", "press", "dispense", "wear_in")
"""Stages whose pair page is looked at by every role that sees it."""
NOT_LOOKED_AT = {
    "/health/live",
    "/health/ready",
    "/metrics",
    "/api/v1/openapi.json",
    "/api/v1/pairs",
    "/api/v1/pairs/{code}",
    "/api/v1/pairs/{code}/photos/{photo_id}",
    "/api/v1/queues",
    "/api/v1/flags",
    "/api/v1/turnaround",
    "/api/v1/forecasts",
    "/api/v1/promise",
    "/api/v1/lots",
    "/api/v1/drafts",
    "/api/v1/drafts/{draft}",
    "/api/v1/starts",
    "/api/v1/pairs/{code}/stance",
    "/api/v1/pairs/{code}/notes",
    "/bench/pair/{code}",
    "/bench/held",
    "/bench/worker.js",
    "/calendar/{secret}.ics",
    "/queue",
}
"""Answers that are no pages, or lead to one."""


@pytest.fixture
def stock() -> int:
    return 25


@pytest.mark.parametrize("role", PAGES)
def test_axe_finds_nothing_on_any_page(sign_in: Callable[..., Page], address: str, look: Look, role: str) -> None:
    page, found = sign_in(role), []
    paths = list(PAGES[role])
    for stage in PAIRS:
        page.goto(f"{address}/queue/{stage}")
        links = page.locator(".queue a.code")
        if links.count():
            href = str(links.first.get_attribute("href"))
            paths.append(href)
            if role == "clinician" and stage == "press":
                paths.append(f"{href}/prescription")
            if role == "manager" and stage == "press":
                paths += [f"{href}/transfer", href.replace("/pair/", "/turnaround/late/")]
    for path in paths:
        found += look(page, f"{address}{path}", f"{role} {re.sub('26-[0-9]+-.', 'code', path)}")
    assert found == []


def test_axe_finds_nothing_before_one_is_signed_in(chromium: Browser, address: str, look: Look) -> None:
    page, found = chromium.new_page(), []
    for path in ("/sign-in", "/bench/sign-on", "/nowhere"):
        found += look(page, f"{address}{path}", f"stranger {path}")
    page.close()
    assert found == []


def test_every_page_of_the_app_is_looked_at(settings: Settings) -> None:
    from fastapi.routing import iter_route_contexts

    app = build(settings)
    routes = {
        str(context.path)
        for context in iter_route_contexts(app.routes)
        if "GET" in (getattr(context, "methods", None) or set())
    }
    app.state.database.close()
    looked_at = {path.split("?")[0] for paths in PAGES.values() for path in paths} | {"/sign-in", "/bench/sign-on"}
    for path in routes - NOT_LOOKED_AT:
        if path.endswith((".pdf", ".xlsx")) or path.startswith(("/paper", "/set-up", "/invitation", "/w/")):
            continue  # looked at in their own rooms' tests
        pattern = re.sub(r"\{[^}]+\}", "[^/]+", path)
        known = any(re.fullmatch(pattern, each) for each in looked_at) or path.startswith(
            ("/pair/{code}", "/turnaround/late/{code}")
        )
        assert known, f"no picture is taken of {path}"


@pytest.mark.parametrize("width", WIDTHS)
def test_a_person_with_every_role_sees_the_whole_menu(
    come_in: Callable[..., Page], width: int, picture: Callable[[Page, str], None]
) -> None:
    page = come_in("practitioner", width=width)
    menu = page.get_by_role("navigation", name="Pairtrail")
    assert menu.evaluate("nav => nav.scrollWidth <= nav.clientWidth")
    picture(page, f"practitioner-{width}")
