"""A clinic's part by mouse and keyboard: what the tests of its pages share."""

from playwright.sync_api import Page, expect

from app.trade.sentences import ENGLISH

RED_FLAG = ENGLISH.say("skin_red_flag")
"""The answer of the wearer's page that stops the wearing."""


def type_an_order(page: Page, label: str = "MR 2212") -> None:
    """On the open order form: as little as makes an order that no check asks about."""
    page.locator('[name="label"]').fill(label)
    for side in "LR":
        page.locator(f'[name="capture.{side}"]').select_option("foam")
        page.locator(f'[name="{side}.shell"]').select_option("eva")
        page.locator(f'[name="{side}.shell_thickness"]').fill("4")


def answer(page: Page, words: str) -> None:
    """On the page of a pair that the lab has asked about."""
    page.locator("summary", has_text="Answer").click()
    page.get_by_label("Your answer").fill(words)
    page.locator("details[open]").get_by_role("button", name="Answer").click()
    expect(page.get_by_role("status")).to_contain_text("answered")
    expect(page.get_by_text("Parked")).to_have_count(0)


def dispense(page: Page) -> None:
    """Confirms both sides, looks at each without and with the shoe, and lets the pair go."""
    for side in ("left", "right"):
        page.get_by_role("group", name="Confirmed by the code").get_by_label(side).check()
    page.get_by_label("Name and code read back").check()
    for side in ("Left", "Right"):
        foot = page.get_by_role("group", name=side, exact=True)
        foot.get_by_label("full", exact=True).check()
        for box in foot.get_by_role("checkbox").all():
            box.check()
        foot.get_by_label("as it should be").check()
    page.get_by_role("button", name="Dispensed").click()
    expect(page.get_by_role("status")).to_contain_text("It now stands at Wearing in")


def give_a_page(page: Page) -> str:
    """On the page of a pair that is worn in; returns the wearer's secret link, which is shown this once."""
    page.get_by_role("button", name="Give the wearer a page").click()
    return page.locator(".link-once code").inner_text()


def tap(wearer: Page, *answers: str) -> None:
    """On the wearer's own page: each tap is answered before the next."""
    for each in answers:
        with wearer.expect_navigation():
            wearer.get_by_role("button", name=each, exact=True).click()
