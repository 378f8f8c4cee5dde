"""The cards of a bench: each is read as itself or not at all, and says what the machine can do."""

from itertools import pairwise

import pytest

from app.bench.rules import cards
from app.bench.rules.acts import ACTS, LAB_STAGES
from app.bench.rules.machine import Asked, State, decide
from app.bench.rules.stages import OPTIONAL, WAYS, Terms, new_route
from app.people.rules import Role, Viewer
from app.trade import keyboards, scans

pytestmark = pytest.mark.anywhere
ALL = [card for group in cards.offered(OPTIONAL, marks_start=True) for card in group.cards]
TAMSIN = Viewer(1, "Tamsin", frozenset({Role.TECHNICIAN}), frozenset(), "UTC")


def read(typed: str) -> cards.Card | None:
    try:
        return cards.meant(scans.read(typed))
    except scans.BadScan:
        return None


def test_every_card_is_read_as_itself_on_every_keyboard() -> None:
    for card in ALL:
        for typed in (card.payload, card.payload.lower(), f"]Q1{card.payload}\n"):
            assert read(typed) == card
        for alone, shifted in keyboards.LAYOUTS.values():
            keys = {key: (alone[at], shifted[at]) for at, key in enumerate(keyboards.US)}
            assert read("".join(keys[each.lower()][each.isupper()] for each in card.payload)) == card
            assert read("".join(keys[each.lower()][1] for each in card.payload)) == card


def test_no_wrong_or_swapped_character_makes_another_card() -> None:
    for card in ALL:
        text = card.payload
        for place, (one, two) in enumerate(pairwise(text)):
            assert read(text[:place] + two + one + text[place + 2 :]) in (None, card)
            for other in "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ/-":
                assert read(text[:place] + other + text[place + 1 :]) in (None, card)


def test_a_card_s_payload_is_long_enough_to_be_told_from_typing_and_fits_a_large_square_code() -> None:
    """static/look.js takes eight keys and more for a scan; 38 characters are what a code of 25 by 25 modules holds."""
    assert {8 <= len(card.payload) <= 38 for card in ALL} == {True}


def test_every_card_is_told_apart_by_its_words_too() -> None:
    assert len({(card.head, card.name) for card in ALL}) == len(ALL)


@pytest.mark.parametrize(
    "card", [each for each in ALL if each.do in ACTS.keys() - {"take_back"}], ids=lambda each: each.word
)
def test_what_a_card_says_is_done_by_the_machine_on_a_pair_of_some_way(card: cards.Card) -> None:
    done = []
    for way in WAYS:
        terms = Terms(frozenset(OPTIONAL), by_parcel=False, trims_at_clinic=False)
        route = new_route(way, terms)
        if card.stage and card.stage not in route:
            continue
        pair = State("26-00417-D", dict.fromkeys("LR", "inspect"), "LR", route, terms)
        asked = Asked(card.do, "inspect", card.stage or None, "LR", card.reason or None, card.waiting_on or None)
        after = decide(pair, asked, TAMSIN).state
        if card.do == "park":
            assert after.waiting_on == {card.waiting_on}
        assert after.stage == (card.stage or ("dispense" if card.do == "advance" else "inspect"))
        done.append(way)
    assert done


def test_a_stage_that_the_lab_has_switched_off_and_acts_it_does_not_mark_have_no_card() -> None:
    offered = [card for group in cards.offered((), marks_start=False) for card in group.cards]
    assert {card.stage for card in offered}.isdisjoint(OPTIONAL)
    assert {card.do for card in ALL} - {card.do for card in offered} == {"start", "put_down"}
    assert {card.stage for card in ALL if card.do == "stage"} == LAB_STAGES
    assert read(next(card for card in ALL if card.stage == "grind").payload), "printed earlier, it is still understood"


def test_a_card_that_no_bench_knows_is_told_so() -> None:
    with pytest.raises(cards.UnknownCard, match=r"does not know.*Print the cards anew"):
        cards.meant(scans.read(scans.sealed("CARD", "COFFEE")))
