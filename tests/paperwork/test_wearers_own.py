"""The wearer's sheet in another language and in large print, with the link to the own page, and as a calendar file."""

import re
from collections.abc import Callable
from datetime import timedelta

import pypdfium2
import pytest
import zxingcpp
from fastapi import FastAPI
from fastapi.testclient import TestClient

from app import clock
from app.fitting import actions
from app.people.tables import Clinic
from app.trade.sentences import LANGUAGES
from tests.bench.conftest import Lab
from tests.house import ZONE
from tests.paperwork.conftest import A4, print_sheet
from tests.paperwork.test_wearing_in_sheet import dispensed
from tests.people.conftest import visitor
from tests.trade.test_calendars import read

Browser = Callable[[str], TestClient]
SLOWEST = {"key": "half_hour", "start_minutes": 5, "step_minutes": 5, "target_minutes": 480}
LARGE = 18


def smallest_type(pdf: bytes) -> float:
    """Points of the smallest letter of the sheet itself, as PDFium finds them."""
    document = pypdfium2.PdfDocument(pdf)
    found = [
        pypdfium2.raw.FPDFText_GetFontSize(words.raw, at)
        for page in document
        for words in [page.get_textpage()]
        for at in range(words.count_chars())
        if words.get_text_range(at, 1).strip()
    ]
    document.close()
    return float(min(found))


@pytest.fixture
def clinic(lab: Lab) -> Clinic:
    with lab.database.writing() as db:
        clinic = db.get_one(Clinic, lab.house.clinics["house"])
        clinic.phone, clinic.wearer_pages = "01 555 020", True
    return clinic


@pytest.mark.parametrize("plan", [None, SLOWEST], ids=["usual plan", "slowest plan"])
@pytest.mark.parametrize("language", LANGUAGES)
def test_the_sheet_stands_on_one_page_in_every_language_and_in_large_print_on_two(
    browser: Browser, lab: Lab, clinic: Clinic, language: str, plan: dict[str, object] | None
) -> None:
    code, said = dispensed(lab, plan=plan), LANGUAGES[language]
    usual = print_sheet(browser("clinician"), f"/paper/{code}/wearing.pdf?language={language}")
    assert (usual.pages, usual.size_mm) == (1 if plan is None else 2, A4)
    address = f"/paper/{code}/wearing.pdf?language={language}&size=large"
    large = print_sheet(browser("clinician"), address)
    assert (large.pages, large.size_mm) == (2, A4)
    assert smallest_type(browser("clinician").get(address).content) >= LARGE - 0.1
    today = said.day(clock.today(ZONE)).replace("\u00a0", " ")
    for sheet in (usual, large):
        for key in ("stop_title", "stop_mark", "stop_cut", "stop_colour", "stop_swelling", "numb", "hurt"):
            assert said.say(key) in sheet.words, key
        assert "01 555 020" in sheet.words
    assert today.partition(" ")[2] in large.words.replace("\u00a0", " ")
    if plan:
        assert "8 h" not in large.words.replace("\u00a0", " "), "nor does a sheet of ten weeks leap to the end"


def test_another_language_or_size_than_there_is_is_refused_by_name(browser: Browser, lab: Lab) -> None:
    code = dispensed(lab)
    for asked in ("language=tlh", "size=huge"):
        answer = browser("clinician").get(f"/paper/{code}/wearing.pdf?{asked}")
        assert answer.status_code == 422
        assert "is none of them" in answer.text


def test_machine_made_wording_is_told_to_the_clinic_and_not_to_the_wearer(browser: Browser, lab: Lab) -> None:
    code = dispensed(lab)
    assert "Español: machine-made wording" in browser("clinician").get(f"/pair/{code}").text
    assert "machine" not in browser("clinician").get(f"/paper/{code}/wearing?language=es").text


@pytest.mark.parametrize("size", ["usual", "large"])
def test_the_sheet_printed_right_then_carries_the_link_to_the_page(
    app: FastAPI, browser: Browser, lab: Lab, clinic: Clinic, size: str
) -> None:
    code = dispensed(lab)
    clinician = browser("clinician")
    given = clinician.post(f"/pair/{code}/wearer-page").text
    secret = re.search(r'name="secret" value="([^"]+)"', given)
    assert secret
    sent = {"secret": secret[1], "language": "es", "size": size}
    answer = clinician.post(f"/paper/{code}/wearing.pdf", data=sent)
    assert answer.headers["content-type"] == "application/pdf"
    document = pypdfium2.PdfDocument(answer.content)
    assert len(document) == (1 if size == "usual" else 2)
    (scanned,) = [each.text for each in zxingcpp.read_barcodes(document[0].render(scale=3).to_pil())]
    document.close()
    assert scanned == f"http://127.0.0.1/w/{secret[1]}?language=es"
    page = visitor(app).get(scanned.removeprefix("http://127.0.0.1"))
    assert '<html lang="es">' in page.text
    with lab.database.writing() as db:
        actions.withdraw_page(db, code=code, by=lab.house.viewer("clinician"))
    assert clinician.post(f"/paper/{code}/wearing.pdf", data=sent).status_code == 404, "no sheet with a dead link"
    assert not print_sheet(clinician, f"/paper/{code}/wearing.pdf?size={size}").codes


def test_the_calendar_has_a_day_for_the_hours_until_the_review_and_nobody_s_name(
    browser: Browser, lab: Lab, clinic: Clinic
) -> None:
    code = dispensed(lab, wearer={"name": "Ottoline Farrow"})
    answer = browser("clinician").get(f"/paper/{code}/wearing.ics?language=es")
    assert answer.headers["content-type"].startswith("text/calendar")
    rows = read(answer.content)
    titles = [str(row["summary"]).replace("\u00a0", " ") for row in rows]
    today = clock.today(ZONE)
    assert [row["dtstart"] for row in rows[:2]] == [today, today + timedelta(days=1)]
    assert titles[:3] == ["Plantillas: máximo 1 h", "Plantillas: máximo 2 h", "Plantillas: máximo 3 h"]
    assert titles[-1] == "Plantillas: revisión"
    text = answer.content.decode()
    for secret in (code, "MR 2210", "Ottoline"):
        assert secret not in text


def test_a_painful_day_noted_at_home_stands_on_paper_and_in_the_calendar(
    app: FastAPI, browser: Browser, lab: Lab, clinic: Clinic
) -> None:
    code = dispensed(lab)
    with lab.database.writing() as db:
        secret = actions.give_page(db, code=code, by=lab.house.viewer("clinician"))
        actions.note(db, secret=secret, address="192.0.2.10", name="comfort", value="1")
    sheet = print_sheet(browser("clinician"), f"/paper/{code}/wearing.pdf")
    assert "day 1 1 h it hurt this day" in sheet.words
    assert "day 2 1 h skin fine" in sheet.words
    rows = read(visitor(app).get(f"/w/{secret}/calendar.ics").content)
    titles = [str(row["summary"]).replace("\u00a0", " ") for row in rows]
    assert titles[:3] == ["Orthoses: 1 h at most", "Orthoses: 1 h at most", "Orthoses: 2 h at most"]
