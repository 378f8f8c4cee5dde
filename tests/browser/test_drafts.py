"""An order begun on one device and ordered on another, in real browsers."""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.browser.axe import violations
from tests.browser.clinic import type_an_order

ComeIn = Callable[..., Page]
Keep = Callable[[Page, str], None]


@pytest.mark.parametrize("width", [1280, 820])
def test_what_is_typed_is_kept_and_ordered_from_another_browser(come_in: ComeIn, picture: Keep, width: int) -> None:
    first = come_in("clinician", width=width)
    first.goto("/orders/new")
    type_an_order(first)
    expect(first.locator("[data-draft]")).to_contain_text("Kept as your draft until")
    first.get_by_text("Keep this prescription as a start").click()
    first.locator('[name="start_name"]').fill("Soft, both")
    first.get_by_role("button", name="Keep it as a start").click()
    expect(first.get_by_role("status")).to_contain_text("Kept as a start for you: Soft, both.")
    first.locator('[name="rush"]').fill("travels on Friday")
    first.goto("/")  # before any pause: what was typed last is kept all the same

    second = come_in("clinician", width=width)
    second.goto("/orders/new")
    assert violations(second) == []
    picture(second, f"order-begun-{width}")
    second.get_by_role("link", name=re.compile(r"Go on with what you began \(MR 2212, ")).click()
    expect(second.locator('[name="L.shell_thickness"]')).to_have_value("4")
    expect(second.locator('[name="rush"]')).to_have_value("travels on Friday")
    picture(second, f"order-resumed-{width}")
    second.get_by_role("button", name="Order the pair").click()
    expect(second.get_by_role("link", name="Print the order for the box")).to_be_visible()
    assert violations(second) == []
    picture(second, f"order-placed-{width}")
    second.goto("/orders/new")
    expect(second.get_by_text("Go on with what you began")).to_have_count(0)
    second.goto("/orders/starts")
    second.get_by_text("Rename").click()
    assert violations(second) == []
    picture(second, f"order-starts-{width}")
