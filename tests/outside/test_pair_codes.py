"""Check characters against the standard's own definition, worked out here a second time and by brute force.

ISO/IEC 7064, hybrid system MOD 37,36 (clause 9): with P(1) = 36 and S(j) = P(j) mod 37 + a(j), the next product is
P(j+1) = 2 * (S(j) mod 36, taken as 36 when it is 0); a string is right when its last S is 1 modulo 36. The
definition is written from memory of the standard; the worked string below is published.
"""

import random

import pytest
from stdnum.iso7064 import mod_37_36

from app.trade import codes

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def is_right(string: str) -> bool:
    product, total = 36, 0
    for character in string:
        total = product % 37 + ALPHABET.index(character)
        product = 2 * (total % 36 or 36)
    return total % 36 == 1


def only_right_endings(string: str) -> list[str]:
    return [character for character in ALPHABET if is_right(string + character)]


def test_the_definition_agrees_with_a_published_string() -> None:
    # In python-stdnum's documentation of iso7064.mod_37_36; from memory also the example in the standard of the
    # Global Release Identifier, which uses the same check character: A1-2425G-ABC1234002-M.
    assert only_right_endings("A12425GABC1234002") == ["M"]


@pytest.mark.parametrize("year2", [0, 9, 26, 99])
@pytest.mark.parametrize("serial", [1, 417, 99_999, 100_000, 999_999, 1_000_000, 9_999_999])
def test_every_code_has_exactly_one_right_ending_and_it_is_ours(year2: int, serial: int) -> None:
    assert only_right_endings(f"{year2:02d}{serial:05d}") == [codes.check_character(year2, serial)]


def test_ten_thousand_codes_of_any_length_agree_with_the_definition() -> None:
    chance = random.Random(7064)
    for _ in range(10_000):
        year2, serial = chance.randrange(100), chance.randrange(1, 10 ** chance.randrange(1, 8))
        assert is_right(f"{year2:02d}{serial:05d}" + codes.check_character(year2, serial))


def test_the_general_library_accepts_every_code_we_print() -> None:
    serial = 0
    for _ in range(2_000):
        serial = codes.next_serial(26, serial)
        mod_37_36.validate(codes.pair_code(26, serial).replace("-", ""))


def test_about_two_serials_in_thirty_six_are_skipped() -> None:
    """Check characters are spread evenly (the standard's design), so O and I take 2/36 = 5.6 % of serials."""
    share = sum(codes.is_skipped(26, serial) for serial in range(1, 36_001)) / 36_000
    assert share == pytest.approx(2 / 36, abs=0.002)


def test_all_but_one_in_a_hundred_swaps_of_neighbours_are_caught() -> None:
    """The standard promises every single wrong character and nearly all swaps, not all of them."""
    swaps = missed = 0
    for serial in range(10_000, 20_000):
        digits = f"26{serial}"
        check = codes.check_character(26, serial)
        for place in range(2, 6):
            swapped = digits[:place] + digits[place + 1] + digits[place] + digits[place + 2 :]
            swaps += swapped != digits
            missed += swapped != digits and is_right(swapped + check)
    assert 0 < missed < swaps / 100
