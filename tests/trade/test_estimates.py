"""What a percentile promises, whatever the values: it lies among them, and an index and a fraction say the same."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.trade import OutOfRange, estimates

steady = settings(derandomize=True, deadline=None)
minutes = st.lists(st.integers(0, 100_000), min_size=1, max_size=60)
percents = st.floats(0, 100) | st.integers(0, 100)


def test_half_of_three_stays_is_the_middle_one_in_any_order() -> None:
    assert estimates.percentile([300, 10, 20], 50) == 20


def test_the_ends_are_the_shortest_and_the_longest() -> None:
    assert estimates.percentile([5, 1, 9], 0) == 1
    assert estimates.percentile([5, 1, 9], 100) == 9
    assert estimates.percentile_at(3, 100) == (2, 0)


def test_a_round_place_is_met_exactly() -> None:
    assert estimates.percentile_at(11, 70) == (7, 0)
    assert estimates.percentile_at(1_001, 99.9) == (999, 0)


@steady
@given(minutes, percents)
def test_an_index_and_a_fraction_read_the_same_value(stays: list[float], p: float) -> None:
    index, fraction = estimates.percentile_at(len(stays), p)
    low, *following = sorted(stays)[index : index + 2]
    read = estimates.between(low, following[0] if following else low, fraction)
    assert read == pytest.approx(estimates.percentile(stays, p), rel=1e-9, abs=1e-6)


@steady
@given(st.integers(1, 10_000_000), percents)
def test_there_is_always_a_next_value_to_read_where_one_is_needed(count: int, p: float) -> None:
    index, fraction = estimates.percentile_at(count, p)
    assert 0 <= fraction < 1
    assert 0 <= index < count - (fraction > 0)


@steady
@given(minutes, percents, percents)
def test_a_higher_percentile_is_never_a_shorter_time(stays: list[float], one: float, other: float) -> None:
    low, high = sorted([one, other])
    assert estimates.percentile(stays, low) <= estimates.percentile(stays, high) + 1e-6


@pytest.mark.parametrize("p", [-0.1, 100.1, math.nan])
def test_a_percentile_outside_nought_to_a_hundred_is_refused(p: float) -> None:
    with pytest.raises(OutOfRange, match="from 0 to 100"):
        estimates.percentile([1, 2], p)
    with pytest.raises(OutOfRange, match="from 0 to 100"):
        estimates.percentile_at(2, p)


def test_no_values_have_no_percentile() -> None:
    with pytest.raises(OutOfRange, match="at least one value"):
        estimates.percentile([], 50)
    with pytest.raises(OutOfRange, match="at least one value"):
        estimates.percentile_at(0, 50)


@pytest.mark.parametrize("stray", [math.nan, math.inf])
def test_a_stray_value_that_is_no_number_is_refused_rather_than_averaged(stray: float) -> None:
    with pytest.raises(OutOfRange, match="finite numbers"):
        estimates.percentile([1, stray, 3], 50)
