"""A wearer at home with a telephone 360 px wide: four days of notes, one of them painful and one with a red flag."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from playwright.sync_api import Browser, Page, expect

from app import clock
from tests.bench.conftest import Lab
from tests.browser.axe import violations
from tests.browser.clinic import RED_FLAG, give_a_page, tap

Picture = Callable[[Page, str], None]
WIDTHS = (360, 820)


@pytest.fixture
def pair(story: Lab) -> str:
    """A pair that has just been dispensed at the clinic in the house, whose wearers may have a page."""
    code = story.order()
    story.walk(code, "wear_in")
    return code


def looked_at(page: Page, picture: Picture, name: str) -> None:
    """Keeps a picture at both widths; axe-core finds nothing, nothing is wider than it or smaller than a finger."""
    assert [(each["id"], each["nodes"][0]["html"][:160]) for each in violations(page)] == []
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 780})
        picture(page, f"at-home-{name}-{width}")
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
        small = [
            each for each in page.locator("button, a").all() if (each.bounding_box() or {"height": 44})["height"] < 44
        ]
        assert small == []
    page.set_viewport_size({"width": WIDTHS[0], "height": 780})


def test_four_days_at_home(
    chromium: Browser, address: str, come_in: Callable[..., Page], pair: str, picture: Picture
) -> None:
    clinician = come_in("clinician")
    clinician.goto(f"/pair/{pair}")
    link = give_a_page(clinician)
    picture(clinician, "at-home-given")
    assert violations(clinician) == []

    context = chromium.new_context(viewport={"width": 360, "height": 780}, java_script_enabled=False)
    with_scripts = chromium.new_context(viewport={"width": 360, "height": 780})
    asked: list[str] = []
    wearer, seen = context.new_page(), with_scripts.new_page()
    seen.on("request", lambda request: asked.append(request.url))

    # Day 1: all is well, told in three taps.
    wearer.goto(link)
    expect(wearer.get_by_text("Wear them for 1 h at most.")).to_be_visible()
    tap(wearer, "1 h", "good", "no")
    expect(wearer.get_by_role("button", pressed=True)).to_have_count(3)
    seen.goto(link)
    looked_at(seen, picture, "day-1")

    # Day 2: it hurts, and on day 3 the hours are the same.
    clock.set_shift(clock.shift() + timedelta(days=1))
    wearer.goto(link)
    expect(wearer.get_by_text("Wear them for 2 h at most.")).to_be_visible()
    tap(wearer, "it hurts")
    expect(wearer.get_by_text("It hurt. The hours stay as they are")).to_be_visible()
    seen.goto(link)
    looked_at(seen, picture, "day-2-painful")
    clock.set_shift(clock.shift() + timedelta(days=1))
    wearer.goto(link)
    expect(wearer.get_by_text("Wear them for 2 h at most.")).to_be_visible()

    # Day 3: better, but a mark that stays.
    tap(wearer, "very good", RED_FLAG)
    expect(wearer.get_by_text("Stop wearing them and call your clinic now.")).to_be_visible()
    seen.goto(link)
    looked_at(seen, picture, "day-3-red-flag")
    seen.get_by_role("link", name="Español").click()
    expect(seen.get_by_text("Deje de usarlas y llame a su clínica ahora.")).to_be_visible()
    looked_at(seen, picture, "day-3-spanish")
    clinician = come_in("clinician")  # who comes back after days signs in again
    expect(clinician.get_by_text("A red flag was noted by a wearer at home")).to_be_visible()
    clinician.goto("/reviews")
    picture(clinician, "at-home-reviews")
    clinician.goto(f"/pair/{pair}")
    picture(clinician, "at-home-pair")
    assert violations(clinician) == []
    clinician.get_by_role("button", name="Looked at and cleared").click()

    # Day 4: cleared, and the hours rise again only after a good day.
    clock.set_shift(clock.shift() + timedelta(days=1))
    wearer.goto(link)
    expect(wearer.get_by_text("Wear them for 2 h at most.")).to_be_visible()
    assert all(each.startswith(address) for each in asked), "nothing is asked of anybody else"
    for each in (context, with_scripts):
        each.close()


def test_a_clinic_keeps_its_own_plans(come_in: Callable[..., Page], picture: Picture) -> None:
    page = come_in("clinician")
    page.goto("/plans")
    page.get_by_label("Name").fill("Gentle")
    for label, minutes in (("First day", "20"), ("More each day", "300"), ("Up to", "240")):
        page.get_by_label(label).fill(minutes)
    page.get_by_label("First day").fill("999")
    page.get_by_role("button", name="Add the plan").click()
    expect(page.get_by_role("alert")).to_be_visible()
    picture(page, "plans-refused")
    page.get_by_label("First day").fill("20")
    page.get_by_label("More each day").fill("20")
    page.get_by_role("button", name="Add the plan").click()
    expect(page.get_by_text("Gentle: 20")).to_be_visible()
    for width in (1280, 820):
        page.set_viewport_size({"width": width, "height": 900})
        picture(page, f"plans-{width}")
        assert violations(page) == []
