"""A scan goes from the clinic's browser to the bench's, with mouse and keyboard and without JavaScript."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from app.settings import ROOT
from tests.bench.conftest import Lab
from tests.browser.conftest import Look

SignIn = Callable[..., Page]
FEET = ROOT / "app/demo/feet"


@pytest.mark.parametrize("javascript", [True, False], ids=["", "without JavaScript"])
def test_scans_are_ordered_from_added_later_and_saved(
    sign_in: SignIn, address: str, story: Lab, javascript: bool
) -> None:
    clinician = sign_in("clinician", javascript=javascript)
    clinician.goto(f"{address}/orders/new")
    clinician.get_by_label("left only").check()
    clinician.locator('[name="way"]').select_option("direct")
    clinician.locator('[name="capture.L"]').select_option("scan")
    clinician.locator('[name="L.shell"]').select_option("polypropylene")
    clinician.locator('[name="L.shell_thickness"]').fill("4.0")
    clinician.locator('[name="scan.L"]').set_input_files(FEET / "README.md")
    clinician.get_by_label("Chart label or number").fill("MR 2210")
    clinician.get_by_role("button", name="Order the pair").click()
    expect(clinician.get_by_role("alert")).to_contain_text("'README.md' is none of them")
    expect(clinician.locator('[name="L.shell_thickness"]')).to_have_value("4.0")
    clinician.locator('[name="scan.L"]').set_input_files(FEET / "adult-left.stl")
    clinician.get_by_role("button", name="Order the pair").click()
    expect(clinician.get_by_role("status")).to_contain_text("Its scans are with it")
    code = clinician.locator("h1 .code").inner_text()

    technician = sign_in("technician", width=820, javascript=javascript)
    technician.goto(f"{address}/pair/{code}")
    expect(technician.get_by_role("row", name="Length")).to_contain_text("244.4")
    technician.locator("summary", has_text="Replace the left scan file").click()
    technician.get_by_label("Left scan file").set_input_files(FEET / "small-left.stl")
    technician.get_by_role("button", name="Add the left scan").click()
    expect(technician.get_by_role("status")).to_contain_text("the left scan is here, 220.0 mm long")
    with technician.expect_download() as saved:
        technician.get_by_role("link", name="Save the left scan").click()
    assert saved.value.suggested_filename == f"{code}-left.stl"


def test_axe_finds_nothing_on_a_pair_with_scans(sign_in: SignIn, address: str, story: Lab, look: Look) -> None:
    code = story.order(way="direct", captures={"L": "scan", "R": "scan"})
    technician = sign_in("technician")
    for side, size in (("left", "adult"), ("right", "small")):
        technician.goto(f"{address}/pair/{code}")
        technician.locator("summary", has_text=f"Add the {side} scan file").click()
        technician.get_by_label(f"{side.capitalize()} scan file").set_input_files(FEET / f"{size}-{side}.stl")
        technician.get_by_role("button", name=f"Add the {side} scan").click()
    assert look(technician, f"{address}/pair/{code}", "scans") == []
    technician.get_by_text("Where these figures come from").click()
    expect(technician.get_by_text("no source")).to_be_visible()
