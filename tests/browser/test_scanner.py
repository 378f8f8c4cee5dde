"""Each job once with a scanner that types like a keyboard: 11 ms a key, then Enter, wherever the focus is."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.bench.conftest import Lab

ComeIn = Callable[..., Page]


def scan(page: Page, text: str) -> None:
    """What is printed on paper or engraved in the material, as the scanner types it."""
    page.keyboard.type(text, delay=11)
    page.keyboard.press("Enter")


@pytest.fixture
def code(story: Lab) -> str:
    return story.order()


def test_a_ticket_opens_its_pair_from_any_page_and_a_tap_does_the_work(come_in: ComeIn, story: Lab, code: str) -> None:
    page = come_in("technician")
    story.act(code, "advance")
    for address, stage in (("/", "Poured"), ("/queue/press", "Corrected"), ("/flags", "Pressed")):
        page.goto(address)
        scan(page, f"{code}/1")
        expect(page.locator("h1 .code")).to_have_text(code)
        page.get_by_role("button", name=stage).click()
        expect(page.get_by_role("status")).to_contain_text(f"{code}: finished the work")


def test_a_scan_where_a_button_has_the_focus_does_not_press_it(come_in: ComeIn, story: Lab, code: str) -> None:
    other = story.order(label="MR 7")
    for each in (code, other):
        story.act(each, "advance")
    page = come_in("technician")
    page.goto("/queue/pour")
    page.get_by_role("button", name=f"Poured: {other}").focus()
    scan(page, f"{code}/1")
    expect(page.locator("h1 .code")).to_have_text(code)
    assert story.at(other).stage == "pour"


def test_an_old_ticket_says_which_prescription_holds(come_in: ComeIn, story: Lab, code: str) -> None:
    from app.bench import actions as bench
    from tests.bench.conftest import SIDE

    story.walk(code, "press")
    with story.database.writing() as db:
        body = {side: SIDE | {"shell_thickness": 30} for side in "LR"}
        bench.amend(db, code=code, by=story.house.viewer("clinician"), body=body, stage_notes={}, words="thinner")
    page = come_in("technician")
    scan(page, f"{code}/1")
    expect(page.get_by_role("status")).to_contain_text("prescription 2 holds")
    assert story.at(code).stage == "press"


def test_a_mistyped_code_is_told_and_nothing_moves(come_in: ComeIn, code: str) -> None:
    page = come_in("technician")
    wrong = code[:-1] + ("A" if code[-1] != "A" else "B")
    scan(page, wrong)
    expect(page.get_by_text("check character")).to_be_visible()


def test_slow_typing_outside_of_a_field_is_no_scan(come_in: ComeIn, code: str) -> None:
    page = come_in("technician")
    page.keyboard.type(code, delay=120)
    page.keyboard.press("Enter")
    page.wait_for_timeout(200)
    expect(page.locator("h1 .code")).to_have_count(0)


def test_pairs_are_ticked_into_a_parcel_and_its_slip_opens_the_parcels(come_in: ComeIn, story: Lab) -> None:
    codes = [story.order(by="quay clinician", clinic="quay", label=f"UQ {n}") for n in (1, 2, 3)]
    for each in codes:
        story.walk(each, "send", clinician="quay clinician")
    page = come_in("technician")
    page.goto("/parcels")
    for each in codes:
        page.locator(f'[value="{each}"]').uncheck()
    page.locator("h1").click()
    for each in codes[:2]:
        scan(page, each)
        expect(page.locator(f'[value="{each}"]')).to_be_checked()
    page.get_by_role("button", name="Send this parcel").click()
    expect(page.get_by_role("heading", name="Parcel 1")).to_be_visible()
    assert [story.at(each).stage for each in codes] == ["receive", "receive", "send"]
    clinic = come_in("quay clinician")
    scan(clinic, "PARCEL/1")
    clinic.get_by_role("button", name="Receive the parcel").click()
    expect(clinic.get_by_text("No parcels")).to_be_visible()


def test_a_clinician_dispenses_what_was_scanned(come_in: ComeIn, story: Lab, code: str) -> None:
    story.walk(code, "dispense")
    page = come_in("clinician", width=820)
    scan(page, code)
    page.get_by_role("link", name="Dispense", exact=True).click()
    for box in page.locator("#fitting .form").get_by_role("checkbox").all():
        if box.is_visible() and box.get_attribute("name") not in ("shoe_changed", "trimmed"):
            box.check()
    for words in ("full", "as it should be"):
        for choice in page.get_by_label(words, exact=True).all():
            choice.check()
    page.get_by_role("button", name="Dispensed").click()
    expect(page.get_by_role("status")).to_contain_text("It now stands at Wearing in")


def test_a_lot_s_label_picks_the_lot_at_its_pair_and_opens_it_elsewhere(come_in: ComeIn, story: Lab, code: str) -> None:
    from app.bench.actions import materials
    from app.bench.rules.materials import lot_payload

    story.walk(code, "press")
    sheet = {"kind": "sheet", "name": "PP 4 mm", "material": "polypropylene", "thickness": "4", "unit": "sheet"}
    with story.database.writing() as db:
        technician = story.house.viewer("technician")
        of = materials.add(db, by=technician, typed=sheet | {"per_side": "0.5"})
        lots = [
            materials.add_lot(db, by=technician, material_id=of, typed={"number": f"PP-{number}", "stock": "9"})
            for number in (1, 2)
        ]
    page = come_in("technician")
    page.goto(f"/pair/{code}")
    scan(page, lot_payload(lots[1]))
    expect(page.get_by_label("Lot: polypropylene 4 mm")).to_have_value(str(lots[1]))
    assert story.at(code).stage == "press", "a scan moves nothing"
    page.get_by_role("button", name="Pressed").click()
    expect(page.get_by_role("link", name="lot PP-2")).to_have_count(1)
    page.goto("/")
    scan(page, lot_payload(lots[0]))
    expect(page.get_by_role("heading", level=1)).to_have_text("Lot PP-1")
