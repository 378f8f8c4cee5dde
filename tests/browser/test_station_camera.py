"""The tablet's camera in place of a scanner: a job ticket held before it is read, by the reader that we serve."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import segno
from PIL import Image
from playwright.sync_api import Page, expect

from app import clock
from app.people.rules import hash_of, new_token
from app.people.tables import SignedIn
from tests.bench.conftest import Lab
from tests.browser.conftest import Launch
from tests.browser.station import Station

SEEN = (640, 480)


def film(path: Path, text: str) -> Path:
    """A second of a QR code before a grey wall, as a camera's raw frames (YUV4MPEG2, luma then grey chroma)."""
    code = Image.new("L", SEEN, 170)
    drawn = path.with_suffix(".png")
    segno.make_qr(text, error="m").save(str(drawn), scale=9, border=4)
    ticket = Image.open(drawn).convert("L")
    code.paste(ticket, ((SEEN[0] - ticket.width) // 2, (SEEN[1] - ticket.height) // 2))
    frame = b"FRAME\n" + code.tobytes() + bytes([128]) * (SEEN[0] * SEEN[1] // 2)
    path.write_bytes(f"YUV4MPEG2 W{SEEN[0]} H{SEEN[1]} F10:1 Ip A1:1 C420\n".encode() + frame * 10)
    return path


@pytest.fixture
def filmed(launch: Launch, address: str, story: Lab, tmp_path: Path) -> Iterator[Callable[[str], Page]]:
    browsers = []

    def opened(text: str) -> Page:
        video = film(tmp_path / "ticket.y4m", text)
        camera = ("--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream")
        browser = launch(*camera, f"--use-file-for-fake-video-capture={video}")
        browsers.append(browser)
        token, now = new_token(), clock.now()
        with story.database.writing() as db:
            staff_id = story.house.people["technician"]
            db.add(SignedIn(token_hash=hash_of(token), staff_id=staff_id, started_at=now, seen_at=now))
        context = browser.new_context(base_url=address, viewport={"width": 800, "height": 1280})
        context.add_cookies([{"name": "pairtrail", "value": token, "url": address}])
        return context.new_page()

    yield opened
    for browser in browsers:
        browser.close()


def test_a_ticket_before_the_camera_is_a_scan_and_staying_in_sight_is_none(
    filmed: Callable[[str], Page], story: Lab
) -> None:
    code = story.order()
    story.walk(code, "press")
    bench = Station(filmed(f"{code}/1"), "press")
    bench.page.locator("summary", has_text="This bench").click()
    bench.page.get_by_role("button", name="Camera").click()
    bench.says("here", code)
    bench.page.wait_for_timeout(3_500)
    bench.says("here", code)
    assert story.at(code).stage == "press"
    bench.page.get_by_role("button", name="Camera off").click()
    expect(bench.page.locator("video")).to_be_hidden()
