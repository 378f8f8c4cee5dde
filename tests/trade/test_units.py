"""What is typed in millimetres, inches, pounds or Fahrenheit, and shown again as it was meant."""

from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.trade import OutOfRange, units

steady = settings(derandomize=True, deadline=None)
systems = st.sampled_from(list(units.LENGTH))


@pytest.mark.parametrize(
    ("typed", "tenths"),
    [
        ("2.5", 25),
        ("2,5 mm", 25),
        ("25 cm", 2_500),
        ("9.75 in", 2_476),
        ('9 3/4"', 2_476),
        ("3/16 in", 48),
        (".5 in", 127),
    ],
)
def test_a_length_may_name_its_unit_and_be_a_fraction(typed: str, tenths: int) -> None:
    assert units.read_length(typed) == tenths


def test_without_a_unit_it_is_in_the_units_of_who_types_it() -> None:
    assert units.read_length("1", "metric") == 10
    assert units.read_length("1", "imperial") == 254
    assert units.read_mass("100", "imperial") == 45.4
    assert units.read_mass("45,4 kg", "imperial") == 45.4


@steady
@given(st.integers(0, 100_000), systems)
def test_what_a_field_shows_is_read_back_as_the_same_tenth_of_a_millimetre(tenths: int, system: str) -> None:
    assert units.read_length(units.length_typed(tenths, system), system) == tenths


@steady
@given(st.integers(0, 4_000), systems)
def test_a_mass_is_read_back_as_the_same_tenth_of_a_kilogram(tenths: int, system: str) -> None:
    assert units.read_mass(units.mass_typed(tenths / 10, system), system) == tenths / 10


def test_lengths_in_words() -> None:
    assert units.length_words(40) == "4.0\u00a0mm"
    assert units.length_words(40, "imperial") == "0.157\u00a0in"


@pytest.mark.parametrize("read", [units.read_length, units.read_mass, units.read_celsius])
@pytest.mark.parametrize("typed", ["", "four", "1/0", "1 2", "3 parsecs", "-1000", "1e9", "9" * 30, "nan", "١/"])
def test_what_is_no_measure_is_refused_with_what_was_typed(read: Callable[[str], float], typed: str) -> None:
    with pytest.raises(OutOfRange, match="it has to be"):
        read(typed)
