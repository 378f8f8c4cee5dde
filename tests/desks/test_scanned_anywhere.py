"""What a scanner types into any page's search, also on a tablet that believes in another keyboard."""

from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient

from app.database import Database
from tests.bench.conftest import Lab
from tests.house import House

Browser = Callable[[str], TestClient]
KEYBOARDS = {
    "German": str.maketrans("-/YZ", "ß-ZY"),
    "French": str.maketrans("1234567890-/AQWZM", "&é\"'(-è_çà)!QAZW?"),
}


@pytest.fixture
def lab(database: Database, house: House) -> Lab:
    return Lab(database, house)


def find(browser: Browser, typed: str) -> str:
    return str(browser("technician").get("/find", params={"q": typed}).headers.get("location"))


@pytest.mark.parametrize("keyboard", KEYBOARDS)
def test_what_is_scanned_on_another_keyboard_opens_what_it_is_printed_on(
    browser: Browser, lab: Lab, keyboard: str
) -> None:
    code, other = lab.order(), KEYBOARDS[keyboard]
    lab.act(code, "advance")
    for printed in (f"{code}/1", code):
        assert find(browser, printed) == find(browser, printed.translate(other)) == f"/pair/{code}"
    assert find(browser, "PARCEL/7".translate(other)) == "/parcels"
    assert find(browser, "LOT/000012".translate(other)) == "/materials/lots/12"


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("26-00417-E/3", "does not fit"),
        ("LOT/12", "nothing that is printed for a scanner here"),
        ("CARD/DONEG", "read at a bench"),
        ("CARD/DONEH", "does not fit"),
    ],
)
def test_what_can_t_be_opened_is_told(browser: Browser, typed: str, told: str) -> None:
    answer = browser("technician").get("/find", params={"q": typed})
    assert answer.status_code == 404
    assert told in answer.text


def test_a_chart_label_with_a_stroke_is_still_searched_by(browser: Browser, lab: Lab) -> None:
    code = lab.order(label="MR 22/10")
    assert find(browser, "mr 22/1") == f"/pair/{code}"
