"""Marking a photo from behind in a real browser: by mouse and by keyboard alone, and what is typed without scripts."""

import math
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Locator, Page, expect

from app.demo.legs import WIDE, places
from tests.bench.conftest import Lab
from tests.browser.conftest import Look
from tests.browser.photos import BAREFOOT, IN_DEVICES, add, click, point, shown, words_of

ComeIn = Callable[..., Page]


def walk(page: Page, part: Locator, name: str, to: tuple[int, int]) -> None:
    """The focused point, by the arrow keys alone: ten pixels at a time, then one."""
    focused = point(part, name)
    expect(focused).to_be_focused()
    page.keyboard.press("Enter")  # right where it stands: that says where this is
    words = part.locator("[data-says]").inner_text().split(": ")[1]
    x, y = (int(each.split()[0]) for each in words.split(", "))
    for far, back, on in ((to[0] - x, "ArrowLeft", "ArrowRight"), (to[1] - y, "ArrowUp", "ArrowDown")):
        key = on if far > 0 else back
        for _ in range(abs(far) // 10):
            page.keyboard.press(f"Shift+{key}")
        for _ in range(abs(far) % 10):
            page.keyboard.press(key)
    expect(part.locator("[data-says]")).to_contain_text(f"{to[0]} across, {to[1]} down")


@pytest.fixture
def ready(story: Lab) -> str:
    code = story.order()
    story.walk(code, "dispense")
    return code


def test_a_photo_is_marked_by_mouse_and_by_keyboard(
    come_in: ComeIn, address: str, ready: str, story: Lab, look: Look
) -> None:
    page = come_in("clinician")
    page.goto(f"/pair/{ready}")
    page.get_by_role("link", name="Measure stance").click()
    without = add(page, "without", BAREFOOT)
    at = places(BAREFOOT)
    for name, where in at.items():
        expect(point(without, name)).to_have_accessible_name(f"{words_of(name)}, not marked yet")
        click(without, where)
    for name, angle in BAREFOOT.items():
        assert abs(shown(without, name) - angle) <= 0.5, name
    sent = without.locator('[name="L.points"]').input_value().replace(",", " ").split()
    wanted = [number for name, where in at.items() if name[0] == "L" for number in where]
    assert [int(each) for each in sent] == pytest.approx(wanted, abs=2), "in the photo's pixels, not the screen's"
    without.get_by_role("button", name="Keep the angles").click()
    expect(page.get_by_role("status").first).to_contain_text("kept")

    with_ = add(page, "with", IN_DEVICES)
    at = places(IN_DEVICES)
    point(with_, "L.leg.upper").focus()
    for name, where in at.items():
        walk(page, with_, name, where)
        page.keyboard.press("Tab")
    for name, angle in IN_DEVICES.items():
        assert abs(shown(with_, name) - angle) <= 0.5, name
    with_.get_by_role("button", name="Keep the angles").press("Enter")
    expect(page.get_by_role("status").first).to_contain_text("kept")
    row = page.locator("#measured table").first.get_by_role("row", name="Heel to the vertical")
    expect(row).to_contain_text("towards varus")
    found = look(page, f"{address}/pair/{ready}/stance", "stance marked")
    assert found + look(page, f"{address}/pair/{ready}", "pair with stance") == []


def test_a_point_is_dragged_and_a_plumb_line_takes_the_camera_s_tilt_out(come_in: ComeIn, ready: str) -> None:
    page = come_in("clinician", width=820)
    page.goto(f"/pair/{ready}/stance")
    part = add(page, "without", BAREFOOT)
    at = places(BAREFOOT)
    for where in at.values():
        click(part, where)
    heel = shown(part, "R.heel")
    lower, box = point(part, "R.heel.lower"), part.locator(".marking img").bounding_box()
    assert box
    lower.scroll_into_view_if_needed()
    mark = lower.bounding_box()
    assert mark
    middle = (mark["x"] + mark["width"] / 2, mark["y"] + mark["height"] / 2)
    page.mouse.move(*middle)
    page.mouse.down()
    page.mouse.move(middle[0] + 40 * box["width"] / WIDE, middle[1], steps=4)
    page.mouse.up()
    assert shown(part, "R.heel") > heel + 7, "forty pixels further out over two hundred down"
    leg = shown(part, "R.leg")
    part.get_by_role("button", name="Plumb line").click()
    for field in ("R.points", "R.leg_deg"):  # no figure stands there until both points of the line are marked
        expect(part.locator(f'[name="{field}"]')).to_have_value("")
    for where in ((450, 100), (400, 1100)):
        click(part, where)
    tilt = math.degrees(math.atan2(50, 1000))
    assert abs(shown(part, "R.leg") - (leg + tilt)) <= 0.3
    part.locator('[name="L.leg_deg"]').fill("-2")
    point(part, "R.heel.lower").press("ArrowRight")
    expect(part.locator('[name="L.points"]')).to_have_value("")  # what is typed of one foot holds
    expect(part.locator('[name="L.leg_deg"]')).to_have_value("-2")
    part.get_by_role("button", name="Keep the angles").click()
    expect(page.get_by_role("listitem").filter(has_text="Left, without devices")).to_contain_text("2.0° varus")
    recalled = page.locator("#without").locator('[name="R.points"]')
    expect(recalled).not_to_have_value("")


def test_without_scripts_the_photo_is_looked_at_and_the_angles_are_typed(
    sign_in: Callable[..., Page], address: str, ready: str
) -> None:
    page = sign_in("clinician", javascript=False)
    page.goto(f"{address}/pair/{ready}/stance")
    part = add(page, "without", BAREFOOT)
    expect(part.get_by_role("button", name="Plumb line")).to_be_hidden()
    for name, angle in BAREFOOT.items():
        part.locator(f'[name="{name}_deg"]').fill(f"{angle:g}")
    part.get_by_role("button", name="Keep the angles").click()
    expect(page.locator("#measured")).to_contain_text("7.0° valgus")
    page.locator("summary", has_text="Foot Posture Index").click()
    for item in page.locator('select[name^="L."]').all():
        item.select_option("1")
    page.locator("#save-posture").click()
    expect(page.locator("#measured")).to_contain_text("+6, pronated")


def test_the_foot_posture_index_adds_up_while_it_is_filled_in(come_in: ComeIn, ready: str) -> None:
    page = come_in("clinician")
    page.goto(f"/pair/{ready}/stance")
    page.locator("summary", has_text="Foot Posture Index").click()
    left, right = (page.locator(f'p[data-live="{side}"]') for side in "LR")
    items = page.locator('select[name^="L."]').all()
    for item in items[:4]:
        item.select_option("2")
    expect(left).to_have_text("Total +8 so far, 2 items to go")
    for item in items[4:]:
        item.select_option("1")
    expect(left).to_have_text("Total +10, highly pronated")
    expect(right).to_have_text("")


def test_what_is_no_photo_is_told_where_it_was_chosen(come_in: ComeIn, ready: str, tmp_path: Path) -> None:
    page = come_in("clinician")
    page.goto(f"/pair/{ready}/stance")
    drawing = tmp_path / "feet.svg"
    drawing.write_text('<svg xmlns="http://www.w3.org/2000/svg"/>')
    page.locator("#take-with-chosen").set_input_files(drawing)
    page.locator("#with").get_by_role("button", name="Add the photo").click()
    expect(page.get_by_role("alert")).to_contain_text("a drawing or a page")
    expect(page.locator("#with .field.wrong")).to_be_visible()
