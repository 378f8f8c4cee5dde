"""At the bench: a technician scans, sees and is done, with every scanner, by touch alone and by keyboard alone."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from app.bench.rules import cards
from app.trade import keyboards, scans
from app.trade.scans import BadScan
from tests.bench.conftest import Lab
from tests.browser.axe import violations
from tests.browser.station import Station

ComeIn = Callable[..., Page]
Keep = Callable[[Page, str], None]


def as_typed(text: str, layout: str, caps: bool = False) -> str:
    """What a computer with this keyboard makes of the keys that a scanner set to a US one presses."""
    row = keyboards.LAYOUTS[layout][0]
    typed = "".join(row[keyboards.US.index(each.lower())] for each in text)
    return "".join("ẞ" if each == "ß" else each.swapcase() for each in typed) if caps else typed


@pytest.fixture
def at_press(story: Lab) -> list[str]:
    codes = [story.order(label=f"MR {n}") for n in range(3)]
    for code in codes:
        story.walk(code, "press")
    return codes


def test_a_scan_shows_the_pair_and_a_second_one_advances_it(
    come_in: ComeIn, story: Lab, at_press: list[str], picture: Keep
) -> None:
    bench = Station(come_in("technician", width=800), "press")
    bench.scan(f"{at_press[0]}/1")
    bench.says("here", at_press[0], "MR 0", "both sides", "polypropylene")
    assert violations(bench.page) == []
    picture(bench.page, "station-here")
    bench.scan(f"{at_press[0]}/1")
    bench.says("again")
    assert story.at(at_press[0]).stage == "press", "read twice is one scan"
    bench.page.wait_for_timeout(3_100)
    bench.scan(f"{at_press[0]}/1")
    bench.says("done", "Pressed")
    picture(bench.page, "station-done")
    assert story.at(at_press[0]).stage == "grind"
    bench.scan(at_press[1])
    bench.card(cards.DONE)
    bench.says("done", at_press[1])
    bench.card(cards.TAKE_BACK)
    bench.says("noted", at_press[1])
    assert story.at(at_press[1]).stage == "press"


def test_every_scanner_is_understood(come_in: ComeIn, at_press: list[str]) -> None:
    """A fast one and a slow one, with the symbology's name in front, on three keyboards and with CapsLock on."""
    bench = Station(come_in("technician"), "press")
    ticket, other = f"{at_press[0]}/1", at_press[1]
    for pace, typed in (
        (7, ticket),
        (16, f"]Q1{ticket}"),
        (11, ticket.lower()),
        (7, as_typed(ticket, "German")),
        (16, as_typed(ticket, "French")),
        (11, as_typed(ticket, "German", caps=True)),
    ):
        bench.scan(typed, pace)
        bench.says("here", at_press[0])
        bench.scan(other)
        bench.says("here", other)
    bench.scan(ticket[:-3] + ("X" if ticket[-3] != "X" else "Y") + "/1")
    bench.says("mistyped")


def test_nothing_moves_by_mistake_and_each_refusal_says_why(
    come_in: ComeIn, story: Lab, at_press: list[str], picture: Keep
) -> None:
    elsewhere = story.order(label="MR 9")
    story.walk(elsewhere, "cover")
    story.act(at_press[1], "park", reason="material", waiting_on="supplier")
    bench = Station(come_in("technician", width=800), "press")
    bench.card(cards.DONE)
    bench.says("nothing")
    for text, kind, words in (
        (elsewhere, "elsewhere", "To cover"),
        (at_press[1], "parked", "waits on the supplier"),
        (f"{at_press[0]}/2", "old_ticket", "prescription 1 holds"),
        ("26-99999-9", "mistyped", "check character"),
        ("HELLO", "unknown", "nothing that is printed"),
        (scans.sealed("CARD", "NOSUCH"), "unknown", "Print the cards anew"),
    ):
        bench.scan(text)
        bench.says(kind, words)
        picture(bench.page, f"station-{kind}")
        bench.card(cards.DONE)
        expect(bench.page.locator("[data-answer] .answer")).not_to_have_attribute("data-kind", "done")
    assert [story.at(code).stage for code in (elsewhere, *at_press)] == ["cover", "press", "press", "press"]


def test_a_rack_of_200_pairs_is_one_scan_each_and_none_is_lost(come_in: ComeIn, story: Lab) -> None:
    codes = [story.order(label=f"MR {n}") for n in range(200)]
    for code in codes:
        story.act(code, "advance")
    odd = story.order(label="MR odd")
    bench = Station(come_in("technician"), "pour")
    bench.card(cards.BATCH_BEGIN)
    for code in (*codes[:100], odd, *codes[100:]):
        bench.scan(f"{code}/1")
    expect(bench.page.locator("[data-rack] li")).to_have_count(201, timeout=60_000)
    expect(bench.page.locator("[data-rack] li.odd")).to_contain_text("It stands at To check in")
    bench.page.get_by_role("button", name="Poured: all that may").click()
    bench.says("done", "All 200 done")
    assert {story.at(code).stage for code in codes} == {story.at(codes[0]).stage} != {"pour"}
    assert story.at(odd).stage == "check_in"


def test_by_touch_alone_and_with_targets_for_gloves(come_in: ComeIn, story: Lab, at_press: list[str]) -> None:
    page = come_in("technician", width=800, touch=True)
    bench = Station(page, "press")
    small = page.locator(".station main :is(button, summary, a.act):visible").evaluate_all(
        "all => all.filter(each => each.getBoundingClientRect().height < 63.5).map(each => each.textContent)"
    )
    assert [words for words in small if words.strip() not in ("This bench", "Scan")] == []
    bench.scan(at_press[0])
    bench.says("here")
    page.get_by_role("button", name="Pressed", exact=True).tap()
    bench.says("done")
    bench.scan(at_press[1])
    bench.says("here")
    page.locator("summary", has_text="Park").tap()
    page.get_by_role("button", name="Material is missing: supplier").tap()
    bench.says("noted", "material is missing")
    bench.scan(at_press[2])
    bench.says("here")
    page.locator("summary", has_text="Done up to").tap()
    page.get_by_role("button", name="To trim").tap()
    bench.says("done")
    assert story.at(at_press[2]).stage == "trim"
    page.locator("[data-recent] li", has_text=at_press[2]).get_by_role("button").tap()
    bench.says("noted", at_press[2])
    assert story.at(at_press[2]).stage == "press"


def test_a_card_that_sends_back_asks_which_side(come_in: ComeIn, story: Lab, at_press: list[str]) -> None:
    story.walk(at_press[0], "cover")
    bench = Station(come_in("technician"), "cover")
    cracked = next(card for card in cards.BACK_CARDS if (card.reason, card.stage) == ("cracked", "press"))
    bench.scan(at_press[0])
    bench.says("here")
    bench.card(cracked)
    bench.says("which")
    bench.page.get_by_role("button", name="LEFT", exact=True).click()
    bench.says("noted", "cracked or broken", "To press")
    assert dict(story.at(at_press[0]).sides) == {"L": "press", "R": "cover"}


def test_by_keyboard_alone(come_in: ComeIn, story: Lab, at_press: list[str]) -> None:
    bench = Station(come_in("technician"), "press")
    expect(bench.page.locator(".scan")).to_be_focused()
    bench.scan(at_press[0])
    bench.says("here")
    bench.page.keyboard.press("Tab")
    expect(bench.page.get_by_role("button", name="Pressed", exact=True)).to_be_focused()
    bench.page.keyboard.press("Enter")
    bench.says("done")
    expect(bench.page.locator(".scan")).to_be_focused()
    assert story.at(at_press[0]).stage == "grind"


def test_without_scripts_it_is_a_plain_form(sign_in: ComeIn, address: str, story: Lab, at_press: list[str]) -> None:
    page = sign_in("technician", javascript=False)
    page.goto(f"{address}/bench?stage=press")
    expect(page.locator(".scan")).to_be_focused()
    page.keyboard.type(f"{at_press[0]}/1")
    page.keyboard.press("Enter")
    expect(page.locator(".answer")).to_have_attribute("data-kind", "here")
    expect(page.locator(".scan")).to_be_focused()
    page.keyboard.type(f"{at_press[0]}/1")
    page.keyboard.press("Enter")
    expect(page.locator(".answer")).to_have_attribute("data-kind", "again")
    page.get_by_role("button", name="Pressed", exact=True).click()
    expect(page.locator(".answer")).to_have_attribute("data-kind", "done")
    assert story.at(at_press[0]).stage == "grind"
    page.get_by_role("button", name="Batch", exact=True).click()
    expect(page.locator("[data-rack]")).to_be_visible()
    for scanned, code in enumerate(at_press, 1):
        page.keyboard.type(f"{code}/1")
        page.keyboard.press("Enter")
        expect(page.locator("[data-rack] li")).to_have_count(scanned)
    page.get_by_role("button", name="Pressed: all that may").click()
    expect(page.locator(".answer")).to_contain_text("2 of 3 done")


def test_two_benches_on_one_rack_move_each_pair_once(come_in: ComeIn, story: Lab, at_press: list[str]) -> None:
    one, other = (Station(come_in(who), "press") for who in ("technician", "second technician"))
    for bench in (one, other):
        bench.scan(at_press[0])
        bench.says("here")
    one.card(cards.DONE)
    one.says("done")
    other.card(cards.DONE)
    other.says("elsewhere", "Tamsin Reed finished the work")
    assert story.at(at_press[0]).stage == "grind"


def test_the_browser_reads_scans_as_the_server_does(come_in: ComeIn, at_press: list[str]) -> None:
    """Every payload on every keyboard, with every single character of it wrong once."""
    printed = [
        f"{at_press[0]}/1",
        at_press[0],
        "PARCEL/12",
        "LOT/000012",
        cards.DONE.payload,
        scans.sealed("BADGE", "7K2MQ4"),
    ]
    texts = [typed for text in printed for typed in (text, *(as_typed(text, layout) for layout in keyboards.LAYOUTS))]
    texts += [text[:at] + other + text[at + 1 :] for text in texts for at in range(len(text)) for other in "7Qy-/ß!"]
    page = come_in("technician")
    page.goto("/bench")
    found = page.evaluate(READ, texts)
    assert [(text, answer) for text, answer in zip(texts, found, strict=True) if answer != _meaning(text)] == []


READ = """async texts => {
    const { reader } = await import("/static/bench/reader.js");
    const read = reader(JSON.parse(document.getElementById("bench-data").textContent).keyboards);
    return texts.map(text => { try { return read(text).text; } catch (refusal) { return refusal.kind; } });
}"""


def _meaning(text: str) -> str:
    try:
        return scans.read(text).text
    except scans.MisreadScan:
        return "mistyped"
    except BadScan:
        return "unknown"
