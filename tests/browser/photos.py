"""The page of stance in a browser: photos whose points are known, added and marked."""

from playwright.sync_api import FilePayload, Locator, Page, expect

from app.demo import legs
from app.demo.legs import WIDE, Angles

BAREFOOT: Angles = {"L.leg": -6.0, "L.heel": 7.0, "R.leg": -4.0, "R.heel": 10.0}
IN_DEVICES: Angles = {"L.leg": -5.0, "L.heel": 3.5, "R.leg": -4.0, "R.heel": 5.0}


def photo(angles: Angles) -> FilePayload:
    return {"name": "behind.jpg", "mimeType": "image/jpeg", "buffer": legs.picture(angles)}


def add(page: Page, devices: str, angles: Angles) -> Locator:
    """Adds the photo and returns its part of the page."""
    part = page.locator(f"#{devices}")
    part.locator(f"#take-{devices}-chosen").set_input_files(photo(angles))
    part.get_by_role("button", name="Add the photo").click()
    expect(page.get_by_role("status").first).to_contain_text("now mark its points")
    expect(part.locator(".marking img")).to_be_visible()
    return part


def words_of(name: str) -> str:
    side, part, end = name.split(".")
    return f"{'Left' if side == 'L' else 'Right'} {'lower leg' if part == 'leg' else 'heel'}, {end} point"


def point(part: Locator, name: str) -> Locator:
    return part.get_by_role("button", name=words_of(name))


def click(part: Locator, at: tuple[int, int]) -> None:
    """Where the photo shows this pixel, however large it is on the page."""
    image = part.locator(".marking img")
    image.scroll_into_view_if_needed()
    box = image.bounding_box()
    assert box
    scale = box["width"] / WIDE
    image.page.mouse.click(box["x"] + at[0] * scale, box["y"] + at[1] * scale)


def shown(part: Locator, name: str) -> float:
    return float(part.locator(f'[name="{name}_deg"]').input_value())
