"""The cards of a bench on paper: cut to one size, read at arm's length, scanned from the print."""

from collections.abc import Callable

import pypdfium2
import pytest
import zxingcpp
from fastapi.testclient import TestClient

from app.bench.rules import cards
from app.bench.rules.stages import OPTIONAL
from tests.bench.conftest import Lab
from tests.paperwork.conftest import A4, print_sheet

Browser = Callable[[str], TestClient]
OFFERED = [card for group in cards.offered((), marks_start=False) for card in group.cards]
DOTS_PER_MM = 3 * 72 / 25.4
"""Of the pictures that `print_sheet` takes."""


def printed(browser: Browser, *chosen: str) -> list[str]:
    """What a scanner types that looks at every page."""
    answer = browser("technician").get("/paper/cards.pdf", params={"card": chosen})
    document = pypdfium2.PdfDocument(answer.content)
    found = [each.text for page in document for each in zxingcpp.read_barcodes(page.render(scale=3).to_pil())]
    document.close()
    return found


def test_every_card_of_the_lab_is_scanned_from_the_print(browser: Browser, lab: Lab) -> None:
    assert sorted(printed(browser)) == sorted(card.payload for card in OFFERED)
    lab.record_starts()
    assert {cards.START.payload, cards.PUT_DOWN.payload} <= set(printed(browser))


def test_ten_cards_of_85_by_55_mm_lie_edge_to_edge_each_with_a_code_of_25_mm(browser: Browser, lab: Lab) -> None:
    wanted = "&".join(f"card={card.payload}" for card in OFFERED[-10:])
    sheet = print_sheet(browser("technician"), f"/paper/cards.pdf?{wanted}")
    assert (sheet.pages, sheet.size_mm) == (1, A4)
    corners = {}
    for found in zxingcpp.read_barcodes(sheet.picture):
        at = found.position
        assert (at.top_right.x - at.top_left.x) / DOTS_PER_MM > 25
        corners[found.text] = (
            (at.top_left.x + at.bottom_right.x) / 2 / DOTS_PER_MM,
            (at.top_left.y + at.bottom_right.y) / 2 / DOTS_PER_MM,
        )
    first = corners[OFFERED[-10].payload]
    for number, card in enumerate(OFFERED[-10:]):
        across, down = corners[card.payload][0] - first[0], corners[card.payload][1] - first[1]
        assert [across, down] == pytest.approx([85 * (number % 2), 55 * (number // 2)], abs=0.5)


def test_a_card_says_in_words_what_it_does_and_shows_its_payload(browser: Browser, lab: Lab) -> None:
    card = next(card for card in OFFERED if card.reason == "too_short")
    for address in ("/paper/cards.pdf", "/paper/cards"):
        answer = browser("technician").get(address, params={"card": card.payload})
        words = answer.text
        if address.endswith(".pdf"):
            words = print_sheet(browser("technician"), f"{address}?card={card.payload}").words
        for each in ("Back to cover", "Cover too short", "The pair goes back to cover.", "CARD/BACKCOVERTOOSHORT"):
            assert each in words
        assert cards.DONE.payload not in words
    assert "style=" not in answer.text


def test_cards_are_chosen_on_their_page_where_the_screen_shows_the_same_codes(browser: Browser, lab: Lab) -> None:
    page = browser("technician").get("/bench/cards").text
    for card in OFFERED:
        assert f'value="{card.payload}"' in page
    assert page.count('class="qr"') == len(OFFERED)
    for stage in OPTIONAL:
        assert f"CARD/STAGE{stage.upper()}" not in page, "this lab has it switched off"
    assert printed(browser, OFFERED[3].payload) == [OFFERED[3].payload]


def test_a_card_that_the_lab_has_not_is_not_found_and_a_clinic_prints_none(browser: Browser, lab: Lab) -> None:
    grind = next(card for card in cards.STAGE_CARDS if card.stage == "grind")
    assert browser("technician").get("/paper/cards.pdf", params={"card": grind.payload}).status_code == 404
    for address in ("/bench/cards", "/paper/cards", "/paper/cards.pdf"):
        assert browser("clinician").get(address).status_code == 403
        assert browser("manager").get(address).status_code == 200
