"""What a person types and a scanner sends, and the code it is read as."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_36

from app.trade import OutOfRange, codes

steady = settings(derandomize=True, deadline=None)
years = st.integers(0, 99)
serials = st.integers(1, codes.LAST_SERIAL)
usable = st.tuples(years, serials).filter(lambda pair: not codes.is_skipped(*pair))
FIRST_ENDING_IN = {codes.check_character(26, serial): serial for serial in range(1_000, 0, -1)}


@pytest.mark.parametrize(
    "typed",
    [
        "26-00417-D",
        "26-00417-d",
        "2600417d",
        "  26 00417 D\r\n",
        "26\u201300417\u2013D",  # en dashes, as a word processor makes them
        "26\u221200417\u2212D",  # minus signs
        "26/00417.D",
        "26ß00417ßD",  # a scanner set to another keyboard than the computer
        "]Q126-00417-D",  # a scanner that names the symbology in front
        "26-OO4I7-D",  # letters that look like digits
        "26-004l7-D",
        "26-0041\u00ad7-D",  # a soft hyphen pasted from a page
        "\uff12\uff16-\uff10\uff10\uff14\uff11\uff17-\uff24",  # full-width digits
    ],
)
def test_a_code_is_read_however_it_was_typed(typed: str) -> None:
    assert codes.parse(typed) == "26-00417-D"


@pytest.mark.parametrize(
    "typed", ["", "   ", "26", "26-417-D", "26-00417", "2-00417-D", "26-0041x-D", "26-123456789-D", "Ada Bell", "🦶"]
)
def test_what_has_not_the_form_of_a_code_is_told_so(typed: str) -> None:
    with pytest.raises(codes.NotACode, match=r"such as 26-00417-D.*Scan it again, or type all of it"):
        codes.parse(typed)


@pytest.mark.parametrize("ending", ["Y", "Z"])
def test_a_scanner_on_a_german_keyboard_also_swaps_y_and_z_and_the_bracket(ending: str) -> None:
    printed = codes.pair_code(26, FIRST_ENDING_IN[ending])
    assert codes.parse(printed) == printed
    assert codes.parse("+Q1" + printed.translate(str.maketrans("-YZ", "ßZY"))) == printed


@pytest.mark.parametrize("typed", ["26-00417-E", "26-00471-D", "62-00417-D", "26-00418-D"])
def test_a_wrong_or_swapped_character_is_told_apart_from_a_wrong_form(typed: str) -> None:
    with pytest.raises(codes.WrongCheckCharacter, match=r"Compare it with the label"):
        codes.parse(typed)


def test_a_zero_too_many_is_not_another_code() -> None:
    right_but_longer = "26000417" + mod_37_36.calc_check_digit("26000417")
    with pytest.raises(codes.NotACode, match="no zero in front"):
        codes.parse(right_but_longer)


def test_serial_zero_is_nobody_s_pair() -> None:
    with pytest.raises(codes.NotACode, match="never zero"):
        codes.parse("2600000" + mod_37_36.calc_check_digit("2600000"))


def test_a_long_text_is_shown_shortened_in_the_sentence() -> None:
    with pytest.raises(codes.BadCode) as told:
        codes.parse("x" * 5_000)
    assert len(str(told.value)) < 250


@steady
@given(usable)
def test_every_printed_code_reads_back_with_and_without_hyphens(pair: tuple[int, int]) -> None:
    code = codes.pair_code(*pair)
    assert codes.parse(code) == codes.parse(code.replace("-", "").lower()) == code


@steady
@given(usable)
def test_no_printed_code_ends_in_a_letter_that_looks_like_a_digit(pair: tuple[int, int]) -> None:
    assert codes.pair_code(*pair)[-1] not in "OI"


@steady
@given(usable, st.data())
def test_one_changed_digit_is_always_caught(pair: tuple[int, int], data: st.DataObject) -> None:
    bare = codes.pair_code(*pair).replace("-", "")
    place = data.draw(st.integers(0, len(bare) - 2))
    other = data.draw(st.sampled_from("0123456789").filter(lambda digit: digit != bare[place]))
    with pytest.raises(codes.BadCode):
        codes.parse(bare[:place] + other + bare[place + 1 :])


@steady
@given(st.text(max_size=30))
def test_whatever_is_typed_gives_a_code_or_a_sentence(typed: str) -> None:
    try:
        outcome = codes.parse(typed)
    except codes.BadCode as told:
        outcome = str(told)
    assert outcome.endswith(".") or codes.parse(outcome) == outcome


@pytest.mark.parametrize("lookalike", ["O", "I"])
def test_a_serial_that_would_look_like_a_digit_is_refused_and_stepped_over(lookalike: str) -> None:
    skipped = FIRST_ENDING_IN[lookalike]
    with pytest.raises(OutOfRange, match="neither O nor I"):
        codes.pair_code(26, skipped)
    assert codes.next_serial(26, skipped - 1) > skipped


@pytest.mark.parametrize(("digit", "lookalike"), [("0", "O"), ("1", "I")])
def test_a_last_letter_that_looks_like_a_digit_is_read_as_the_digit(digit: str, lookalike: str) -> None:
    code = codes.pair_code(26, FIRST_ENDING_IN[digit])
    assert codes.parse(code[:-1] + lookalike) == code


@steady
@given(years, st.integers(0, 9_999_900))
def test_the_next_serial_is_the_first_usable_one_after(year2: int, serial: int) -> None:
    following = codes.next_serial(year2, serial)
    assert all(codes.is_skipped(year2, between) for between in range(serial + 1, following))
    assert not codes.is_skipped(year2, following)


def test_a_year_starts_at_serial_one_or_the_first_usable_after_it() -> None:
    assert codes.pair_code(26, codes.next_serial(26, 0)).startswith("26-0000")


def test_a_year_s_serials_end_with_a_clear_sentence() -> None:
    with pytest.raises(OutOfRange, match="from 1 to 9999999"):
        codes.next_serial(26, codes.LAST_SERIAL)


@pytest.mark.parametrize(("year2", "serial"), [(-1, 5), (100, 5), (2026, 5), (26, 0), (26, -4), (26, 10_000_000)])
def test_numbers_that_make_no_code_are_refused(year2: int, serial: int) -> None:
    with pytest.raises(OutOfRange):
        codes.pair_code(year2, serial)


@pytest.mark.parametrize("typed", ["26-00417-D", "2600417D", " 26-00417-d ", "26-00417-E"])
def test_a_search_takes_this_for_a_code(typed: str) -> None:
    assert codes.is_code_like(typed)


@pytest.mark.parametrize("typed", ["", "Tern", "26-004", "12345678", "26004178", "A-17"])
def test_a_search_takes_this_for_a_label_or_chart_number(typed: str) -> None:
    assert not codes.is_code_like(typed)


@pytest.mark.parametrize(
    ("typed", "stored"),
    [("26-00417-d", "2600417D"), (" Ch. 17/b ", "CH17B"), ("Müller", "MÜLLER"), ("—", ""), ("\uff21\uff11", "A1")],
)
def test_what_is_searched_by_keeps_letters_and_digits_alone(typed: str, stored: str) -> None:
    assert codes.normalise(typed) == stored


@steady
@given(st.text(st.characters(max_codepoint=0x17F), max_size=30))
def test_normalising_twice_changes_nothing(text: str) -> None:
    assert codes.normalise(codes.normalise(text)) == codes.normalise(text)


@steady
@given(usable, st.integers(0, 10))
def test_the_start_of_a_code_is_the_start_of_its_search_key(pair: tuple[int, int], length: int) -> None:
    code = codes.pair_code(*pair)
    assert codes.normalise(code).startswith(codes.normalise(code[:length]))
