"""A tablet of the bench, upright and lying: enrolled, signed on at with a scanned badge and a typed PIN, locked."""

from collections.abc import Callable
from io import BytesIO

import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from app.bench.rules import cards
from app.people import actions
from app.people.rules import read_badge
from tests.bench.conftest import Lab
from tests.browser.axe import violations
from tests.browser.test_scanner import scan
from tests.people.conftest import CHEAP

ComeIn = Callable[..., Page]
PIN = "2580"
SIZES = ((800, 1280), (1280, 800))


def looked_at(page: Page, picture: Callable[[Page, str], None], name: str) -> None:
    """Keeps the page's picture at both sizes of a tablet; axe-core finds nothing, and nothing is wider than it."""
    assert [(each["id"], each["nodes"][0]["html"][:160]) for each in violations(page)] == []
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        picture(page, f"station {name} {width}x{height}")
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


def big_enough(page: Page) -> None:
    """At a bench what is touched is 64 px high."""
    for target in page.locator("main :is(button, a.act, input:not([type=hidden])), .person button").all():
        box = target.bounding_box()
        assert box is not None
        assert box["height"] >= 64, target.inner_html()


@pytest.fixture
def badge(come_in: ComeIn, story: Lab, picture: Callable[[Page, str], None]) -> str:
    """A technician's, who chose a PIN; read as a scanner would from the card that the manager prints."""
    with story.database.writing() as db:
        actions.choose_pin(db, CHEAP, by=story.house.viewer("technician"), pin=PIN)
        actions.enrol(db, by=story.house.viewer("manager"), name="Grinder")
    page = come_in("manager")
    page.goto(f"/people/{story.house.people['technician']}")
    looked_at(page, picture, "person")
    page.get_by_role("button", name="Make a badge").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("A badge for")
    looked_at(page, picture, "badge")
    page.emulate_media(media="print")
    assert page.get_by_role("heading").count() == 0, "the card alone comes on paper"
    assert page.locator("body").inner_text().split()[0] == page.locator(".badge-card").inner_text().split()[0]
    picture(page, "station-badge-on-paper")
    paper = Image.open(BytesIO(page.locator(".badge-card").screenshot()))
    (code,) = zxingcpp.read_barcodes(paper)
    assert read_badge(code.text) == code.text
    return str(code.text)


def test_a_tablet_is_enrolled_and_signed_on_at_by_scanner_and_pin(
    come_in: ComeIn, badge: str, picture: Callable[[Page, str], None]
) -> None:
    page = come_in("manager")
    page.goto("/bench/enrol")
    page.get_by_label("Name of the tablet").fill("Press bench")
    page.get_by_role("button", name="Enrol this tablet").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign on at Press bench")
    looked_at(page, picture, "sign-on")
    big_enough(page)
    for wrong in ("0852", PIN):
        expect(page.get_by_label("Badge")).to_be_focused()
        scan(page, badge)
        expect(page.get_by_label("PIN")).to_be_focused()
        page.keyboard.type(wrong)
        if wrong != PIN:
            page.keyboard.press("Enter")
            expect(page.get_by_text("do not fit together")).to_be_visible()
            assert badge[6:] not in page.content()
            looked_at(page, picture, "refused")
    page.get_by_role("button", name="Sign on").click()
    page.wait_for_url("**/bench")
    page.goto("/bench/sign-on")
    expect(page.get_by_text("is signed on here.")).to_be_visible()
    looked_at(page, picture, "signed-on")
    big_enough(page)
    page.get_by_role("region", name="Signed on now").get_by_role("button", name="Lock").click()
    expect(page.get_by_role("status")).to_contain_text("Locked")
    page.locator("h1").click()
    scan(page, badge)
    expect(page.get_by_label("Badge")).to_have_value(badge)
    expect(page.get_by_label("PIN")).to_be_focused()


def test_without_javascript_the_scanner_s_enter_leads_on_to_the_pin(
    chromium: Browser, address: str, story: Lab, badge: str
) -> None:
    with story.database.writing() as db:
        secret = actions.enrol(db, by=story.house.viewer("manager"), name="Press bench")
    context = chromium.new_context(base_url=address, java_script_enabled=False)
    context.add_cookies([{"name": "pairtrail-tablet", "value": secret, "url": f"{address}/bench"}])
    page = context.new_page()
    page.goto("/bench/sign-on")
    expect(page.get_by_label("Badge")).to_be_focused()
    scan(page, badge)
    expect(page.get_by_label("PIN")).to_be_focused()
    page.keyboard.type(PIN)
    page.keyboard.press("Enter")
    page.wait_for_url("**/bench")
    page.goto("/bench/sign-on")
    expect(page.get_by_text("is signed on here.")).to_be_visible()
    context.close()


def test_the_station_locks_by_itself_at_once_by_the_card_and_changes_hands_by_a_badge(
    come_in: ComeIn, story: Lab, badge: str
) -> None:
    page = come_in("manager", width=800)
    page.goto("/bench/enrol")
    page.get_by_label("Name of the tablet").fill("Press bench")
    page.get_by_role("button", name="Enrol this tablet").click()

    def sign_on() -> None:
        expect(page.get_by_label("Badge")).to_be_focused()
        scan(page, badge)
        expect(page.get_by_label("PIN")).to_be_focused()
        page.keyboard.type(PIN)
        page.keyboard.press("Enter")
        page.wait_for_url("**/bench")
        page.wait_for_selector("html[data-ready]", state="attached")

    sign_on()
    expect(page.locator(".bar")).to_contain_text("Press bench")
    scan(page, cards.LOCK.payload)
    page.wait_for_url("**/bench/sign-on**")
    sign_on()
    scan(page, badge)
    expect(page.get_by_label("PIN")).to_be_focused()
    page.keyboard.type(PIN)
    page.keyboard.press("Enter")
    page.wait_for_url("**/bench")
    page.wait_for_selector("html[data-kept]", state="attached")
    page.clock.install()
    page.goto("/bench?stage=press")
    page.wait_for_selector("html[data-ready]", state="attached")
    page.clock.fast_forward("12:00")
    page.wait_for_url("**/bench/sign-on**")
    held = page.evaluate(
        """() => new Promise(done => {
            const asked = indexedDB.open("pairtrail-bench");
            asked.onsuccess = () => {
                const count = asked.result.transaction("held").objectStore("held").count();
                count.onsuccess = () => done(count.result);
            };
        })"""
    )
    assert held == 0, "what the tablet held went with the person"
