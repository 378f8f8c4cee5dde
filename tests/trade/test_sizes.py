"""A foot's length as shoe sizes and back."""

import math

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from app.trade import OutOfRange, sizes

steady = settings(derandomize=True, deadline=None)
adult_feet = st.integers(2_000, sizes.LONGEST_FOOT)
feet = st.integers(sizes.SHORTEST_FOOT, sizes.LONGEST_FOOT)
systems = st.sampled_from(list(sizes.SYSTEMS))
allowances = st.integers(0, sizes.MOST_ALLOWANCE)


def test_an_adult_s_foot_has_a_size_in_every_system() -> None:
    assert list(sizes.sizes(2_500)) == ["eu", "uk", "us_men", "us_women", "mondopoint"]


def test_a_child_s_foot_has_none_of_the_adults_sizes() -> None:
    assert sizes.sizes(1_500) == {"eu": 24.75, "mondopoint": 150}
    with pytest.raises(OutOfRange, match="foot length is 150 mm; it has to be longer for an adult's UK size"):
        sizes.size(1_500, "uk")


@steady
@given(adult_feet, systems, allowances)
@example(4_000, "uk", 319)
def test_every_size_leads_back_to_the_very_foot(foot: int, system: str, allowance: int) -> None:
    if system in (found := sizes.sizes(foot, allowance)):
        assert sizes.foot_length(found[system], system, allowance) == foot


@steady
@given(feet, allowances)
def test_one_size_at_a_time_says_the_same_as_all_together(foot: int, allowance: int) -> None:
    together = sizes.sizes(foot, allowance)
    assert together == {key: sizes.size(foot, key, allowance) for key in together}
    for missing in sizes.SYSTEMS.keys() - together.keys():
        with pytest.raises(OutOfRange, match="adult's"):
            sizes.size(foot, missing, allowance)


@steady
@given(adult_feet, st.integers(1, 50), systems)
def test_a_longer_foot_never_has_a_smaller_size(foot: int, longer: int, system: str) -> None:
    shorter_foot = min(foot, sizes.LONGEST_FOOT - longer)
    assert sizes.size(shorter_foot, system) < sizes.size(shorter_foot + longer, system)


@pytest.mark.parametrize(
    ("size", "system", "made"),
    [(39.75, "eu", 40), (39.7, "eu", 39.5), (6.30, "uk", 6.5), (6.2, "us_men", 6), (251, "mondopoint", 250)],
)
def test_the_nearest_size_that_is_made_is_a_half_one_or_five_millimetres(size: float, system: str, made: float) -> None:
    assert sizes.nearest(size, system) == made


def test_a_longer_last_makes_the_size_larger_but_leaves_mondopoint() -> None:
    usual, roomy = sizes.sizes(2_500), sizes.sizes(2_500, allowance_tenths=200)
    assert roomy["mondopoint"] == usual["mondopoint"]
    assert all(roomy[key] > usual[key] for key in usual.keys() - {"mondopoint"})


@pytest.mark.parametrize("foot", [0, -2_500, sizes.SHORTEST_FOOT - 1, sizes.LONGEST_FOOT + 1])
def test_a_length_that_no_foot_has_is_refused(foot: int) -> None:
    for question in (sizes.sizes, lambda foot: sizes.size(foot, "eu")):
        with pytest.raises(OutOfRange, match="from 60 to 400 mm"):
            question(foot)


def test_a_length_typed_in_millimetres_where_tenths_are_meant_is_told() -> None:
    with pytest.raises(OutOfRange, match="foot length is 25 mm"):
        sizes.sizes(250)


@pytest.mark.parametrize("allowance", [-1, sizes.MOST_ALLOWANCE + 1])
def test_an_allowance_that_no_last_has_is_refused(allowance: int) -> None:
    with pytest.raises(OutOfRange, match="allowance"):
        sizes.sizes(2_500, allowance)
    with pytest.raises(OutOfRange, match="allowance"):
        sizes.foot_length(40, "eu", allowance)


@pytest.mark.parametrize(
    ("size", "system"), [(-1, "uk"), (0, "eu"), (math.nan, "eu"), (math.inf, "us_men"), (25, "mondopoint")]
)
def test_a_size_that_is_none_is_refused_with_its_system(size: float, system: str) -> None:
    with pytest.raises(OutOfRange, match=f"{sizes.SYSTEMS[system].words} size"):
        sizes.foot_length(size, system)


@pytest.mark.parametrize("size", [80, 1e308])
def test_a_size_too_large_for_any_foot_is_refused(size: float) -> None:
    with pytest.raises(OutOfRange, match=r"EU size is .* from 9 to 66"):
        sizes.foot_length(size, "eu")


def test_a_size_whose_foot_would_be_too_short_is_told_by_its_length() -> None:
    with pytest.raises(OutOfRange, match="foot length is 45 mm; it has to be from 60 to 400 mm"):
        sizes.foot_length(9, "eu")


@pytest.mark.parametrize("size", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_has_no_nearest_size(size: float) -> None:
    with pytest.raises(OutOfRange, match=r"UK size is .* a number"):
        sizes.nearest(size, "uk")


def test_an_unknown_system_is_answered_with_the_known_ones() -> None:
    for question in (sizes.size, sizes.foot_length):
        with pytest.raises(OutOfRange, match="size system is jp; it has to be one of eu, uk, us_men"):
            question(2_500, "jp")
    with pytest.raises(OutOfRange, match="one of eu"):
        sizes.nearest(40, "jp")
