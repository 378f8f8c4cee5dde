"""A badge and a PIN: what they may look like, who gives them out, and what makes them void."""

import re

import pytest
from fastapi import FastAPI

from app.people.rules import BADGE, BADGE_ALPHABET, BadBadge, new_badge, pin_fault, read_badge
from tests.house import House
from tests.people.conftest import Browser, Journal
from tests.people.forms import read
from tests.people.tablets import PIN, Benches, add_pages, refused, sign_on


@pytest.fixture
def benches(app: FastAPI, house: House) -> Benches:
    add_pages(app)
    return Benches(app, house)


def test_badges_hold_130_bits_in_characters_that_nobody_mistakes_and_never_come_twice() -> None:
    badges = {new_badge() for _ in range(500)}
    assert len(badges) == 500
    for badge in badges:
        assert re.fullmatch(f"BADGE/[{BADGE_ALPHABET}]{{27}}", badge)
        assert read_badge(badge) == badge
    assert 32**26 == 2**130
    assert set("ILOU").isdisjoint(BADGE_ALPHABET)


def test_any_one_wrong_character_is_told_and_never_repeated() -> None:
    badge = new_badge()
    for place in range(len(BADGE), len(badge)):
        for other in set(BADGE_ALPHABET) - {badge[place]}:
            mistyped = badge[:place] + other + badge[place + 1 :]
            with pytest.raises(BadBadge, match="misread or mistyped") as told:
                read_badge(mistyped)
            assert mistyped.removeprefix(BADGE) not in str(told.value)


def test_a_badge_is_read_as_scanners_and_people_send_it() -> None:
    badge = new_badge()
    while not ("Y" in badge and "Z" in badge):
        badge = new_badge()
    secret = badge.removeprefix(BADGE)
    on_a_german_keyboard = f"+Q1BADGE-{secret.translate(str.maketrans('YZ', 'ZY'))}"
    spoken = f"badge/ {secret[:9]} {secret[9:18]} {secret[18:]}".lower()
    for sent in (f"]Q1{badge}", f" {badge}\n", on_a_german_keyboard, spoken):
        assert read_badge(sent) == badge, sent
    for other in ("", "BADGE/", "26-00417-D", "LOT/000012", badge[:-1], badge + "0", "\0" * 40):
        with pytest.raises(BadBadge, match=r"does not read like a badge|misread"):
            read_badge(other)


@pytest.mark.parametrize("pin", ["0000", "111111", "1212", "123123", "1234", "87654321", "7890", "3210"])
def test_pins_that_anyone_would_try_first_are_refused(pin: str) -> None:
    assert "among the first" in str(pin_fault(pin))


@pytest.mark.parametrize("pin", ["", "258", "258025802", "25a0", "２５８０", "2 80", "-258"])
def test_what_is_not_four_to_eight_digits_is_no_pin(pin: str) -> None:
    assert "four to eight digits" in str(pin_fault(pin))


@pytest.mark.parametrize("pin", ["2580", "90210", "1123", "31415926"])
def test_other_pins_will_do(pin: str) -> None:
    assert pin_fault(pin) is None


def test_a_person_chooses_the_own_pin_and_changes_it(
    benches: Benches, browser: Browser, journal: Journal, house: House
) -> None:
    tablet, badge, technician = benches.tablet(), benches.badge(pin=""), browser("technician")
    assert refused(sign_on(tablet, badge)) == "fit"
    assert "You have no PIN yet" in technician.get("/pin").text
    for pin, again, field in (("1234", "1234", "pin"), (PIN, "2581", "again")):
        answer = technician.post("/pin", data={"pin": pin, "again": again})
        assert answer.status_code == 422
        assert read(answer.text).wrong == {field}
        assert f'value="{pin}"' not in answer.text
    assert technician.post("/pin", data={"pin": PIN, "again": PIN}).status_code == 303
    assert "You have a PIN" in technician.get("/pin").text
    assert sign_on(tablet, badge).headers["location"] == "/bench"
    technician.post("/pin", data={"pin": "90210", "again": "90210"})
    assert tablet.get("/bench/told").status_code == 303, "a new PIN signs off"
    assert refused(sign_on(tablet, badge)) == "fit"
    assert sign_on(tablet, badge, "90210").headers["location"] == "/bench"
    assert [(entry.staff_id, entry.facts) for entry in journal("pin_set")] == [(house.people["technician"], {})] * 2


def test_a_manager_clears_a_pin_and_never_sees_it(benches: Benches, browser: Browser, journal: Journal) -> None:
    tablet, manager, me = benches.signed_on(), browser("manager"), benches.house.people["technician"]
    page = manager.get(f"/people/{me}").text
    assert "PIN chosen" in page
    assert PIN not in page
    manager.post(f"/people/{me}/pin/clear")
    assert tablet.get("/bench/told").status_code == 303
    assert "No PIN yet" in manager.get(f"/people/{me}").text
    manager.post(f"/people/{me}/pin/clear")
    assert len(journal("pin_cleared")) == 1, "a second time changes nothing"


def shown(page: str) -> str:
    """What stands on the card, words alone."""
    card = page.partition('<section class="badge-card"')[2].partition("</section>")[0]
    return " ".join(re.sub("<[^>]+>", " ", card.partition(">")[2]).split())


def test_a_badge_is_shown_once_on_a_card_that_tells_a_finder_nothing_and_a_new_one_voids_it_at_once(
    benches: Benches, browser: Browser, journal: Journal, house: House
) -> None:
    tablet, manager, me = benches.signed_on(), browser("manager"), house.people["technician"]
    card = shown(manager.post(f"/people/{me}/badge").text)
    lab, _, payload = card.partition("BADGE/")
    assert lab.strip() == "Saltmarsh Bay Lab"
    badge = read_badge(f"BADGE/{payload}")
    assert card == f"Saltmarsh Bay Lab BADGE/ {' '.join(re.findall('.{9}', badge[6:]))}"
    assert tablet.get("/bench/told").status_code == 303, "signed on with the old one"
    assert sign_on(tablet, badge).headers["location"] == "/bench"
    again = read_badge(f"BADGE/{shown(manager.post(f'/people/{me}/badge').text).partition('BADGE/')[2]}")
    assert refused(sign_on(tablet, badge)) == "fit"
    assert sign_on(tablet, again).headers["location"] == "/bench"
    assert badge[6:] not in manager.get(f"/people/{me}").text
    manager.post(f"/people/{me}/badge/void")
    assert refused(sign_on(tablet, again)) == "fit"
    assert manager.post(f"/people/{me}/badge/void").status_code == 404
    assert (len(journal("badge_made")), len(journal("badge_replaced")), len(journal("badge_void"))) == (1, 2, 1)


def test_who_does_not_work_at_the_bench_or_has_left_is_given_no_badge(
    benches: Benches, browser: Browser, house: House
) -> None:
    manager, clinician, gone = browser("manager"), house.people["clinician"], house.people["second technician"]
    benches.tablet()
    assert "badge" not in manager.get(f"/people/{clinician}").text.lower()
    answer = manager.post(f"/people/{clinician}/badge")
    assert answer.status_code == 409
    assert "Clinician is no technician" in answer.text
    manager.post(f"/people/{gone}/end", data={"confirm": "second.technician@lab.example"})
    assert manager.post(f"/people/{gone}/badge").status_code == 404
