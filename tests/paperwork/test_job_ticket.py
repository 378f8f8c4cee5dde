"""The job ticket that lies with a pair at every bench: what it says, what it never says, and that it is one page."""

from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient

from app.bench import actions as bench
from app.bench.rules.stages import STAGES
from app.errors import BadInput
from app.orders.rules import ITEMS, Item, read_body, value_words
from tests.bench.conftest import SIDE, Lab
from tests.paperwork.conftest import A5, print_sheet

Browser = Callable[[str], TestClient]


def ticket(browser: Browser, code: str, who: str = "technician") -> str:
    return print_sheet(browser(who), f"/paper/{code}/ticket.pdf").words


def test_a_ticket_is_one_a5_page_whose_square_code_types_the_pair_and_its_prescription(
    browser: Browser, lab: Lab
) -> None:
    code = lab.order(tray=12)
    sheet = print_sheet(browser("technician"), f"/paper/{code}/ticket.pdf")
    assert (sheet.pages, sheet.size_mm) == (1, A5)
    assert sheet.codes == [f"{code}/1"]
    for words in (code, "MR 2210", "Harbour Steps", "version 1", "L · LEFT", "R · RIGHT", "BOTH", "tray 12"):
        assert words in sheet.words
    assert "polypropylene Shell polypropylene" in sheet.words
    assert "4.0 mm Shell thickness 4.0 mm" in sheet.words
    assert "1 Check in 2 Pour 3 Press 4 Cover 5 Trim 6 Dispense 7 Wearing in" in sheet.words
    assert "An old ticket moves nothing: scanned, it says which version holds." in sheet.words


def test_a_ticket_never_names_the_wearer_or_tells_why_an_edge_has_to_be_soft(browser: Browser, lab: Lab) -> None:
    wearer = {"name": "Ottoline Farrow", "risks": ["diabetes", "past_ulcer"], "mass_kg": 81.0, "born_year": 1958}
    code = lab.order(wearer=wearer)
    for words in (ticket(browser, code), browser("technician").get(f"/paper/{code}/ticket").text):
        assert "NO HARD EDGES, NO SEAMS" in words
        for secret in ("Ottoline", "Farrow", "diabetes", "ulcer", "1958"):
            assert secret not in words


def test_a_single_device_says_so_loudly_and_never_names_the_other_side(browser: Browser, lab: Lab) -> None:
    words = ticket(browser, lab.order(sides="R"))
    assert "RIGHT ONLY" in words
    assert "R · RIGHT ONLY" in words
    assert "LEFT" not in words
    assert "LEFT ONLY" in ticket(browser, lab.order(sides="L"))


def test_the_shoe_that_a_pair_is_trimmed_to_stands_on_its_ticket(browser: Browser, lab: Lab) -> None:
    shoe = {"kind": "boot", "size": 42.5, "system": "eu", "liner": "out", "inside_width": 985}
    words = ticket(browser, lab.order(shoe=shoe))
    assert "Shoe: boot, size 42.5 EU, 98.5 mm wide inside, its own insole (liner) comes out" in words


def test_what_differs_between_left_and_right_is_marked(browser: Browser, lab: Lab) -> None:
    sides = {"L": SIDE | {"heel_cup": 140}, "R": SIDE | {"heel_cup": 160, "additions": ["heel_pad"]}}
    words = ticket(browser, lab.order(prescription=sides))
    assert "14.0 mm ≠ Heel cup depth 16.0 mm" in words
    assert "none ≠ Additions heel pad" in words
    assert words.count("≠") == 2


def test_a_changed_prescription_prints_its_own_version_and_a_rush_is_loud(browser: Browser, lab: Lab) -> None:
    code = lab.order(rush="flies on Friday")
    with lab.database.writing() as db:
        body = {"L": SIDE | {"shell_thickness": 45}, "R": dict(SIDE)}
        bench.amend(db, code=code, by=lab.house.viewer("clinician"), body=body)
    sheet = print_sheet(browser("technician"), f"/paper/{code}/ticket.pdf")
    assert sheet.codes == [f"{code}/2"]
    assert "version 2" in sheet.words
    assert "RUSH" in sheet.words
    assert "4.5 mm ≠ Shell thickness 4.0 mm" in sheet.words


def test_a_note_stands_at_its_stage_or_at_the_next_where_the_lab_has_that_one_switched_off(
    browser: Browser, lab: Lab
) -> None:
    code = lab.order(stage_notes={"grind": "thin at the first ray", "press": "clear sheet, slowly"})
    words = ticket(browser, code)
    assert "3 Press: clear sheet, slowly" in words
    assert "4 Grind: thin at the first ray" in words, "nobody grinds here: it is read at Cover, the fourth step"


def test_a_side_that_is_not_remade_is_carried_along_without_work(browser: Browser, lab: Lab) -> None:
    old = lab.order()
    lab.walk(old, "wear_in")
    facts = {"start": "positive", "bears": "lab"}
    new = lab.act(old, "remake", by="clinician", sides="L", reason="made_wrong", facts=facts).state.code
    words = ticket(browser, new)
    assert "RIGHT carried along no work in this visit" in words
    assert "LEFT work on this side only" in words
    assert f"Remake · replaces {old}" in words
    assert "LEFT carried along" not in words


def test_letters_beyond_western_europe_are_printed_as_they_are(browser: Browser, lab: Lab) -> None:
    assert "ŻÓŁĆ 12 Šimić ąę Œ" in ticket(browser, lab.order(label="ŻÓŁĆ 12 Šimić ąę Œ"))


def longest(item: Item) -> object:
    if item.kind == "many":
        return list(item.choices)
    return max(item.choices, key=lambda key: len(item.choices[key])) if item.kind == "choice" else item.high


def everything() -> dict[str, object]:
    """Every item there is at its longest."""
    posts = {"rearfoot_post": "12.5° varus / 10.5° motion", "forefoot_post": "12.5° valgus / 10.5° motion"}
    return {key: longest(item) for key, item in ITEMS.items() if item.kind != "post"} | posts


def test_everything_at_once_with_long_notes_is_still_one_page_that_a_scanner_reads(browser: Browser, lab: Lab) -> None:
    note = "Press slowly, keep the vacuum on until the sheet is clear, look at the flange on both edges. "
    sides = {"L": everything(), "R": everything() | {"heel_cup": 10}}
    notes = dict.fromkeys(("check_in", "pour", "press", "cover", "trim"), note * 2)
    code = lab.order(prescription=sides, stage_notes=notes, rush="soon", label="MR 2210, second chart " * 2)
    sheet = print_sheet(browser("technician"), f"/paper/{code}/ticket.pdf")
    assert (sheet.pages, sheet.codes) == (1, [f"{code}/1"])
    assert sheet.words.count(note.strip()) == 10, "notes of a usual length are whole"
    for item in ITEMS.values():
        assert item.label in sheet.words


def test_notes_without_room_are_named_rather_than_silently_cut(browser: Browser, lab: Lab) -> None:
    endless = dict.fromkeys(STAGES, "word and " * 300)
    sides = {"L": everything(), "R": everything() | {"additions": ["met_bar"]}}
    sheet = print_sheet(
        browser("technician"), f"/paper/{lab.order(prescription=sides, stage_notes=endless)}/ticket.pdf"
    )
    assert sheet.pages == 1
    assert "the rest is on the pair’s page" in sheet.words or "read them on the pair’s page" in sheet.words


def test_another_clinic_finds_no_ticket_and_a_stranger_is_asked_to_sign_in(browser: Browser, lab: Lab) -> None:
    code = lab.order()
    for address in (f"/paper/{code}/ticket.pdf", f"/paper/{code}/ticket"):
        for who in ("technician", "clinician", "manager", "practitioner"):
            assert browser(who).get(address).status_code == 200
        assert browser("parcel clinician").get(address).status_code == 404
        stranger = browser("technician")
        stranger.cookies.clear()
        assert stranger.get(address).headers["location"].startswith("/sign-in")
    assert browser("technician").get("/paper/26-00001-X/ticket.pdf").status_code == 404


def test_the_pair_page_leads_to_its_ticket(browser: Browser, lab: Lab) -> None:
    code = lab.order()
    assert f'href="/paper/{code}/ticket.pdf"' in browser("technician").get(f"/pair/{code}").text


def test_the_few_numbers_that_the_bench_needs_stand_on_the_ticket(browser: Browser, lab: Lab) -> None:
    items = SIDE | {"rearfoot_post": "4/4"}
    shoe = {"kind": "boot", "size": 42.5, "system": "eu"}
    words = ticket(browser, lab.order(shoe=shoe, prescription={"L": items, "R": items | {"shell": "acrylic"}}))
    assert "Pour: to mix for the pair about 16" in words
    assert "Press: oven is set to Left: 180 °C; Right: not in the table; sheet leaves it at Left: 150–180 °C" in words
    assert "Grind: rearfoot post 4/4 varus: 4.2 mm, inner edge thick." in words
    assert "Cover: cut length 278 mm" in words
    assert "Pour" not in ticket(browser, lab.order(label="B 1", way="direct", captures={"L": "foam", "R": "foam"}))


def test_what_is_no_longer_offered_is_still_read_in_an_earlier_prescription() -> None:
    assert value_words(ITEMS["additions"], ["met_pad", "heel_lift"]) == "metatarsal pad, heel lift"
    with pytest.raises(BadInput):
        read_body({"L": SIDE | {"additions": ["heel_lift"]}}, "L")
