"""Each job once without a mouse: nothing but Tab, Space, Enter and typing."""

from collections.abc import Callable
from datetime import timedelta

from playwright.sync_api import Locator, Page, expect

from app import clock
from tests.bench.conftest import Lab

ComeIn = Callable[..., Page]


def tab_to(target: Locator, most: int = 160) -> None:
    """Presses Tab until `target` has the focus, as a person does who can't point."""
    expect(target).to_be_visible()
    for _ in range(most):
        target.page.keyboard.press("Tab")
        if target.evaluate("element => element === document.activeElement"):
            return
    raise AssertionError(f"the keyboard does not come to {target}")


def press(target: Locator, key: str = "Enter") -> None:
    tab_to(target)
    target.page.keyboard.press(key)


def write(target: Locator, words: str) -> None:
    """Types into a field, or chooses the option of a list that begins like this."""
    tab_to(target)
    target.page.keyboard.type(words)


def said(page: Page) -> Locator:
    return page.get_by_role("status")


def test_a_clinician_orders(come_in: ComeIn) -> None:
    page = come_in("clinician")
    press(page.get_by_role("link", name="New order"))
    write(page.get_by_label("Chart label or number"), "MR 2210")
    press(page.get_by_role("button", name="Order the pair"))
    expect(page.get_by_role("alert")).to_be_focused()
    for side in "LR":
        write(page.locator(f'[name="capture.{side}"]'), "Slipper")
        write(page.locator(f'[name="{side}.shell"]'), "Polypropylene")
        write(page.locator(f'[name="{side}.shell_thickness"]'), "4")
    page.keyboard.press("Enter")
    expect(said(page)).to_contain_text("The pair's code is")


def test_a_technician_checks_in_advances_asks_and_takes_back(come_in: ComeIn, story: Lab) -> None:
    code, page = story.order(), come_in("technician")
    write(page.get_by_label("Code or chart number"), code)
    page.keyboard.press("Enter")
    expect(
        page.get_by_label("whole, no cracks")
    ).to_be_visible()  # what came with its code in hand is checked in at once
    for point in ("whole, no cracks", "marked with its side", "label matches"):
        press(page.get_by_label(point), "Space")
    press(page.locator("details[open]").get_by_role("button", name="Checked in"))
    expect(said(page)).to_contain_text(f"{code}: finished the work")
    page.goto("/queue/pour")
    press(page.get_by_role("button", name=f"Poured: {code}"))
    expect(said(page)).to_contain_text("finished the work")
    page.goto(f"/pair/{code}")
    press(page.get_by_role("button", name="Take back"))
    expect(said(page)).to_contain_text("took the last act back")
    press(page.locator("summary", has_text="Ask").first)
    write(page.get_by_label("Your question"), "Met pad on which side?")
    press(page.locator("details[open]").get_by_role("button", name="Ask"))
    expect(page.get_by_text("Parked: waits on the clinic")).to_be_visible()


def test_a_technician_writes_down_an_arrival_and_matches_it(come_in: ComeIn, story: Lab) -> None:
    code, page = story.order(), come_in("technician")
    press(page.get_by_role("link", name="Arrivals"))
    write(page.get_by_label("What it is"), "Slipper")
    write(page.get_by_label("Label written on it"), "MR 2210")
    press(page.get_by_role("button", name="Write it down"))
    write(page.get_by_label("Belongs to the pair"), code)
    press(page.get_by_role("button", name="Match"))
    expect(page.get_by_text("Everything that came is matched")).to_be_visible()


def test_a_parcel_is_sent_and_received(come_in: ComeIn, story: Lab) -> None:
    codes = [story.order(by="quay clinician", clinic="quay", label=f"UQ {n}") for n in (1, 2)]
    for code in codes:
        story.walk(code, "send", clinician="quay clinician")
    page = come_in("technician")
    press(page.get_by_role("link", name="Parcels"))
    write(page.get_by_label("Carrier"), "Bay post")
    press(page.get_by_role("button", name="Send this parcel"))
    page = come_in("quay clinician")
    press(page.get_by_role("link", name="Parcels"))
    tab_to(page.get_by_role("group", name=codes[1]).get_by_label("has come"))
    page.keyboard.press("ArrowRight")
    expect(page.get_by_role("group", name=codes[1]).get_by_label("is missing")).to_be_checked()
    press(page.get_by_role("button", name="Receive the parcel"))
    expect(page.get_by_role("heading", name="No parcels")).to_be_visible()
    assert [story.at(code).stage for code in codes] == ["dispense", "receive"]


def test_a_clinician_dispenses_and_settles(come_in: ComeIn, story: Lab) -> None:
    code, page = story.order(), come_in("clinician")
    story.walk(code, "dispense")
    page.goto(f"/pair/{code}")
    for side in ("left", "right"):
        press(page.get_by_role("group", name="Confirmed by the code").get_by_label(side), "Space")
    press(page.get_by_label("Name and code read back"), "Space")
    for side in ("Left", "Right"):
        foot = page.get_by_role("group", name=side, exact=True)
        press(foot.get_by_label("full", exact=True), "Space")
        for box in foot.get_by_role("checkbox").all():
            press(box, "Space")
        press(foot.get_by_label("as it should be"), "Space")
    press(page.get_by_role("button", name="Dispensed"))
    expect(said(page)).to_contain_text("It now stands at Wearing in")
    write(page.get_by_label("Hours a day reached"), "8")
    page.keyboard.press("Enter")
    page.wait_for_load_state("networkidle")
    assert story.at(code).stage == "wear_in", "Enter in a field decides nothing"
    press(page.get_by_role("button", name="Settle"))
    expect(said(page)).to_contain_text("It is settled")


def test_a_manager_invites_and_sets_a_flag_aside(come_in: ComeIn, story: Lab) -> None:
    clock.set_shift(timedelta(days=-60))
    code = story.order()
    clock.set_shift(timedelta())
    page = come_in("manager")
    press(page.get_by_role("link", name="Flags", exact=True))
    press(page.locator("li", has_text=code).locator("summary", has_text="Set aside").first)
    write(page.locator("details[open]").get_by_label("Why it can wait"), "The clinic knows.")
    press(page.locator("details[open]").get_by_role("button", name="Acknowledge"))
    expect(said(page)).to_contain_text("acknowledged")
    press(page.get_by_role("link", name="People"))
    write(page.locator("[name=name]"), "Nessa Quill")
    write(page.get_by_label("E-mail"), "nessa@saltmarsh.example")
    press(page.get_by_label("Technician:"), "Space")
    press(page.get_by_role("button", name="Make the link"))
    expect(page.get_by_text("/invitation/")).to_be_visible()
