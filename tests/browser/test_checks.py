"""The checks beside the order form in a real browser: one order trips them all, one trips none."""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.browser.axe import violations
from tests.browser.clinic import type_an_order

ComeIn = Callable[..., Page]
Keep = Callable[[Page, str], None]
FILLED = {
    "label": "MR 2210",
    "mass_kg": "90",
    "posture_left": "6",
    "posture_right": "0",
    "shoe.size": "39",
    "shoe.inside_width": "80",
    "L.shell_thickness": "3",
    "R.shell_thickness": "5",
    "L.heel_cup": "20",
    "L.heel_lift": "18",
    "R.heel_lift": "12",
    "L.rearfoot_post": "12 varus",
    "R.rearfoot_post": "4 valgus",
    "foot.L.length": "270",
    "foot.L.breadth": "102",
    "captured_on": "2024-01-31",
}
EVERY = {
    *("ulcer", "bare", "rigid", "lift", "thickness", "thickness_asks", "stale", "cup", "wide", "width", "liner"),
    *("post", "apart", "size", "collide"),
}
"""What the checks of app/trade/prescription.py call their findings."""
CHOSEN = {
    "shoe.kind": "dress",
    "shoe.liner": "in",
    "L.shell": "polypropylene",
    "R.shell": "polypropylene",
    "L.shell_width": "wide",
    "L.cover": "eva",
    "L.cover_length": "toes",
    "capture.L": "slipper_plaster",
    "capture.R": "slipper_plaster",
}


IDS = "each => each.map(check => check.id)"


def fill(page: Page) -> None:
    for name, value in FILLED.items():
        page.locator(f'[name="{name}"]').fill(value)
    for name, value in CHOSEN.items():
        page.locator(f'[name="{name}"]').select_option(value)
    page.locator('[name="R.cover"]').select_option(label="no cover")
    for label in ("loss of sensation", "an active ulcer"):
        page.get_by_label(label, exact=True).check()
    for addition in ("met_pad", "met_bar"):
        page.locator(f'[name="L.additions"][value="{addition}"]').check()


@pytest.mark.parametrize("width", [1280, 820])
def test_an_order_that_trips_every_check_is_answered_and_placed(come_in: ComeIn, picture: Keep, width: int) -> None:
    page = come_in("clinician", width=width)
    page.goto("/orders/new")
    fill(page)
    checks = page.locator("[data-live=checks]")
    expect(checks.get_by_text("Nothing cushions the right foot")).to_be_visible()  # while it is being typed
    beside = page.locator(".field:has([name='L.heel_lift']) .found")
    expect(beside).to_contain_text("over 15.0")
    beside.click()
    expect(page).to_have_url(re.compile("#check-lift.L$"))
    expect(page.locator("[data-live=sizes]")).to_contain_text("Mondopoint 270")
    found = {key.removeprefix("check-").split(".")[0] for key in checks.locator("[data-at]").evaluate_all(IDS)}
    assert found == EVERY
    picture(page, f"order-checks-typing-{width}")
    page.locator('[name="ulcer"]').fill("Wound clinic, daily; the device takes load off the heel.")
    page.get_by_role("button", name="Order the pair").click()
    expect(page.get_by_role("alert")).to_be_focused()
    assert violations(page) == []
    picture(page, f"order-checks-{width}")
    for box in checks.get_by_role("checkbox").all():
        box.check()
    for reason in checks.get_by_role("textbox").all():
        reason.fill("Agreed with the wearer.")
    page.get_by_role("button", name="Order the pair").click()
    expect(page.get_by_role("status")).to_contain_text("The pair's code is")
    expect(page.get_by_text("Agreed with the wearer.").first).to_be_visible()


def test_an_order_that_trips_none_is_placed_at_once(come_in: ComeIn) -> None:
    page = come_in("clinician")
    page.goto("/orders/new")
    type_an_order(page)
    page.wait_for_timeout(900)
    expect(page.locator("[data-at]")).to_have_count(0)
    page.get_by_role("button", name="Order the pair").click()
    expect(page.get_by_role("status")).to_contain_text("The pair's code is")
