"""One order taken through every stage to settled by the three roles, with mouse and keyboard, in a real browser."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.bench.conftest import Lab
from tests.browser.clinic import answer, dispense

Keep = Callable[[Page, str], None]
SignIn = Callable[..., Page]


def order(page: Page, label: str = "MR 2210") -> str:
    """Fills the order form as a clinician does and returns the code it answers with."""
    page.get_by_role("link", name="New order").click()
    page.get_by_label("Chart label or number").fill(label)
    for side in ("L", "R"):
        page.locator(f'[name="capture.{side}"]').select_option("slipper_plaster")
        page.locator(f'[name="{side}.shell"]').select_option("polypropylene")
        page.locator(f'[name="{side}.shell_thickness"]').fill("4.0")
        page.locator(f'[name="{side}.cover"]').select_option("eva")
    page.get_by_role("button", name="Order the pair").click()
    return page.locator("h1 .code").inner_text()


def check_in(page: Page, code: str) -> None:
    """Looks at the casts, ticks the list, names the shelf."""
    page.get_by_role("link", name=f"Check in {code}").click()
    page.locator("summary", has_text="Checked in").click()
    for point in ("whole, no cracks", "marked with its side", "label matches"):
        page.get_by_label(point).check()
    page.get_by_label("Shelf").fill("C3")
    page.get_by_label("the shoes").check()
    page.locator("details[open]").get_by_role("button", name="Checked in").click()
    expect(page.get_by_role("status")).to_contain_text(f"{code}: finished the work")
    expect(page.get_by_text("accepted, shelf C3")).to_have_count(2)


@pytest.mark.parametrize("javascript", [True, False], ids=["", "without JavaScript"])
def test_an_order_is_taken_to_a_settled_wearer(sign_in: SignIn, picture: Keep, javascript: bool) -> None:
    clinician = sign_in("clinician", javascript=javascript)
    code = order(clinician)
    expect(clinician.get_by_role("status")).to_contain_text(f"The pair's code is {code}")
    picture(clinician, "pair-ordered")

    technician = sign_in("technician", javascript=javascript)
    picture(technician, "desk-technician")
    check_in(technician, code)
    for stage, done in (
        ("pour", "Poured"),
        ("correct", "Corrected"),
        ("press", "Pressed"),
        ("grind", "Ground"),
        ("cover", "Covered"),
        ("trim", "Trimmed"),
        ("inspect", "Inspected"),
    ):
        technician.goto(f"{technician.url.split('/pair')[0].split('/queue')[0].rstrip('/')}/queue/{stage}")
        picture(technician, f"queue-{stage}")
        technician.get_by_role("button", name=f"{done}: {code}").click()
        expect(technician.get_by_role("status")).to_contain_text(f"{code}: finished the work")

    clinician.reload()
    dispense(clinician)
    picture(clinician, "pair-wearing-in")
    clinician.get_by_label("Hours a day reached").fill("7.5")
    clinician.get_by_label("Comfort").fill("8")
    clinician.get_by_role("button", name="Settle").click()
    expect(clinician.get_by_role("status")).to_contain_text("It is settled")
    picture(clinician, "pair-settled")

    manager = sign_in("manager", javascript=javascript)
    manager.get_by_label("Code or chart number").fill(code.lower())
    manager.keyboard.press("Enter")
    expect(manager.locator("h1 .code")).to_have_text(code)
    picture(manager, "pair-manager")


def test_a_question_stops_a_pair_and_its_answer_lets_it_go_on(sign_in: SignIn, picture: Keep) -> None:
    clinician = sign_in("clinician")
    code = order(clinician)
    technician = sign_in("technician", width=820)
    technician.goto(f"{technician.url}pair/{code}")
    technician.locator("summary", has_text="Ask").first.click()
    technician.get_by_label("Your question").fill("Met pad on which side?")
    picture(technician, "pair-asking-820")
    technician.locator("details[open]").get_by_role("button", name="Ask").click()
    expect(technician.get_by_text("Parked: waits on the clinic")).to_be_visible()
    expect(technician.get_by_text("'Done' is possible once it goes on")).to_be_visible()

    clinician.reload()
    answer(clinician, "Left only")


def test_a_wrong_order_comes_back_filled_with_the_message_at_its_field(sign_in: SignIn, picture: Keep) -> None:
    page = sign_in("clinician")
    page.get_by_role("link", name="New order").click()
    page.get_by_label("Chart label or number").fill("<script>alert(1)</script>")
    page.locator('[name="L.shell_thickness"]').fill("forty")
    page.get_by_role("button", name="Order the pair").click()
    expect(page.get_by_role("alert")).to_be_focused()
    expect(page.get_by_label("Chart label or number")).to_have_value("<script>alert(1)</script>")
    expect(page.locator('[name="L.shell_thickness"]')).to_have_value("forty")
    expect(page.locator('[name="L.shell_thickness"]')).to_have_attribute("aria-invalid", "true")
    picture(page, "order-errors")


def test_a_clinic_by_parcel_trims_dispenses_and_adjusts_without_the_lab(
    come_in: SignIn, story: Lab, picture: Keep
) -> None:
    codes = [story.order(by="parcel clinician", clinic="trims", label=f"GL {number}") for number in (1, 2)]
    for code in codes:
        story.walk(code, "send", clinician="parcel clinician")
    technician = come_in("technician")
    technician.get_by_role("link", name="Parcels").click()
    picture(technician, "parcel-packing")
    technician.get_by_label("Carrier").fill("Bay post")
    technician.get_by_role("button", name="Send this parcel").click()
    expect(technician.get_by_role("status")).to_contain_text("is sent with 2 pairs")
    picture(technician, "parcel-sent")

    clinician, code = come_in("parcel clinician", width=820), codes[0]
    clinician.get_by_role("link", name="Parcels").click()
    picture(clinician, "parcel-arrived-820")
    clinician.get_by_role("group", name=codes[1]).get_by_label("came damaged").check()
    clinician.get_by_role("button", name="Receive the parcel").click()
    clinician.goto("/queue/trim")
    picture(clinician, "clinic-queue-trim-820")
    clinician.get_by_role("button", name=f"Trimmed: {code}").click()
    clinician.goto(f"/pair/{code}")
    picture(clinician, "clinic-dispensing-820")
    dispense(clinician)
    picture(clinician, "clinic-wearing-in-820")

    clinician.locator("summary", has_text="Adjust").click()
    clinician.get_by_role("group", name="Which side").get_by_label("left", exact=True).check()
    here = clinician.get_by_role("group", name="Here, left")
    here.get_by_label("Zone").first.select_option(index=1)
    here.get_by_label("What was done").first.select_option(index=1)
    clinician.get_by_label("Why it can't wait").fill("The edge presses; it will not get better by wearing.")
    picture(clinician, "clinic-adjusting-820")
    clinician.get_by_role("button", name="Adjust").click()
    expect(clinician.get_by_role("status")).to_contain_text("decided on an adjustment")
    assert story.at(code).stage == "wear_in"
    picture(clinician, "clinic-adjusted-820")
    clinician.get_by_role("button", name="Settle").click()
    expect(clinician.get_by_role("status")).to_contain_text("It is settled")
