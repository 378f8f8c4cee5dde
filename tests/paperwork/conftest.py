"""The whole app with a lab of orders, and paper as a person holds it: read, looked at, scanned."""

from dataclasses import dataclass

import pypdfium2
import pytest
import zxingcpp
from fastapi.testclient import TestClient
from PIL.Image import Image

from app.database import Database
from tests.bench.conftest import Lab
from tests.desks.conftest import app, browser, house
from tests.house import House

__all__ = ["app", "browser", "house"]
A5 = (148, 210)
A4 = (210, 297)


@pytest.fixture
def lab(database: Database, house: House) -> Lab:
    return Lab(database, house)


@dataclass
class Sheet:
    """A PDF, read by a library that had no part in making it (PDFium, the engine of a widespread browser)."""

    words: str
    pages: int
    size_mm: tuple[int, int]
    picture: Image

    @property
    def codes(self) -> list[str]:
        """What a scanner types that looks at the first page."""
        return [found.text for found in zxingcpp.read_barcodes(self.picture)]


def print_sheet(who: TestClient, address: str) -> Sheet:
    answer = who.get(address)
    assert answer.status_code == 200, answer.text[:500]
    assert answer.headers["content-type"] == "application/pdf"
    document = pypdfium2.PdfDocument(answer.content)
    first = document[0]
    words = " ".join(document[number].get_textpage().get_text_bounded() for number in range(len(document)))
    width, height = (round(points / 72 * 25.4) for points in first.get_size())
    sheet = Sheet(" ".join(words.split()), len(document), (width, height), first.render(scale=3).to_pil())
    document.close()
    return sheet
