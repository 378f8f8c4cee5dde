"""How paper is made: from our own files alone, and by the browser where the PDF library is missing."""

import subprocess
import sys
from collections.abc import Callable

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from app.paperwork import sheets
from app.settings import ROOT
from tests.bench.conftest import Lab

Browser = Callable[[str], TestClient]
ELSEWHERE = (
    "file:///etc/hostname",
    f"file://{ROOT}/static/paper.css",
    "http://127.0.0.1:8000/static/paper.css",
    "https://lab.example/static/paper.css",
    "data:text/css,body{}",
    f"{sheets.ORIGIN}../pyproject.toml",
    f"{sheets.ORIGIN}%2e%2e/pyproject.toml",
    f"{sheets.ORIGIN}/etc/hostname",
    f"{sheets.ORIGIN}vendor/fetch.py",
)


@pytest.mark.anywhere
@pytest.mark.parametrize("address", ELSEWHERE)
def test_a_sheet_can_ask_for_nothing_but_our_own_static_files(address: str) -> None:
    with pytest.raises(ValueError, match="our own static files alone"):
        sheets.press().fetcher.fetch(address)


@pytest.mark.anywhere
def test_a_sheet_gets_its_own_styles_and_fonts() -> None:
    fetch = sheets.press().fetcher.fetch
    assert fetch(f"{sheets.ORIGIN}paper.css").read() == (ROOT / "static/paper.css").read_bytes()
    font = "vendor/atkinson-next/latin.woff2"
    assert fetch(f"{sheets.ORIGIN}{font}?v=5.3.0").read() == (ROOT / "static" / font).read_bytes()


@pytest.mark.anywhere
def test_the_app_starts_without_loading_the_pdf_library() -> None:
    script = "import sys, app.main; sys.exit('weasyprint' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", script], cwd=ROOT, check=False).returncode == 0


WITHOUT_PANGO = """
import sys
from fastapi.testclient import TestClient
class NoPango:
    def find_spec(self, name, path=None, target=None):
        if name == "weasyprint":
            raise OSError("cannot load library 'libpango-1.0-0'")
sys.meta_path.insert(0, NoPango())
from app.main import build
from app.settings import Settings
url, data, token, code = sys.argv[1:]
app = build(Settings(data=data, database_url=url))
client = TestClient(app, base_url="http://127.0.0.1", cookies={"pairtrail": token})
answer, instead = client.get(f"/paper/{code}/ticket.pdf"), f"/paper/{code}/ticket"
print(answer.status_code, f'href="{instead}"' in answer.text, client.get(instead).status_code)
"""


def test_without_pango_the_pdf_leads_to_a_page_that_the_browser_prints(
    browser: Browser, lab: Lab, app: FastAPI
) -> None:
    """In a process of its own, in which loading the library fails as it does where pango is missing."""
    code, settings = lab.order(), app.state.settings
    token = str(browser("technician").cookies["pairtrail"])
    told = subprocess.run(
        [sys.executable, "-c", WITHOUT_PANGO, settings.database_url, str(settings.data), token, code],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert told.stdout.split() == ["503", "True", "200"], told.stderr


def test_the_page_to_print_says_what_the_pdf_says_without_a_script(browser: Browser, lab: Lab) -> None:
    code = lab.order()
    page = browser("technician").get(f"/paper/{code}/ticket").text
    for words in (code, "version 1", "Shell thickness", "An old ticket moves nothing", "paper.css", 'class="qr"'):
        assert words in page
    assert "<script" not in page
    assert "style=" not in page
