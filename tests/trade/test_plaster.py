"""Powder, water and volume hang together at any size, and nonsense is refused by name."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.trade import OutOfRange, plaster

VOLUMES = st.floats(1, 20_000)
WATER = st.floats(plaster.HYDRATION, plaster.MOST_CONSISTENCY)


@given(VOLUMES, WATER)
def test_what_is_mixed_fills_what_was_asked_for(volume: float, consistency: float) -> None:
    mix = plaster.mix(volume, consistency)
    assert plaster.slurry_cm3(mix.plaster_g, mix.water_g) == pytest.approx(volume)
    assert mix.water_g / mix.plaster_g * 100 == pytest.approx(consistency)


@given(VOLUMES, VOLUMES, WATER)
def test_more_volume_takes_more_powder_and_two_positives_their_sum(
    one: float, other: float, consistency: float
) -> None:
    low, high = sorted((one, other))
    assert plaster.mix(low, consistency).plaster_g <= plaster.mix(high, consistency).plaster_g
    if one + other <= 20_000:
        both = plaster.mix(one + other, consistency).plaster_g
        assert both == pytest.approx(
            plaster.mix(one, consistency).plaster_g + plaster.mix(other, consistency).plaster_g
        )


@given(VOLUMES, WATER, WATER)
def test_wetter_plaster_takes_less_powder(volume: float, one: float, other: float) -> None:
    dry, wet = sorted((one, other))
    assert plaster.mix(volume, wet).plaster_g <= plaster.mix(volume, dry).plaster_g


@given(st.floats(30, 100), st.floats(30, 100))
def test_a_higher_fill_takes_more(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert plaster.estimated_cm3(250, 95, low) <= plaster.estimated_cm3(250, 95, high) + 1e-9


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({"volume_cm3": 0}, "volume"),
        ({"volume_cm3": float("nan")}, "volume"),
        ({"volume_cm3": 25_000}, "volume"),
        ({"volume_cm3": 500, "consistency": 18}, "consistency"),
        ({"volume_cm3": 500, "consistency": float("inf")}, "consistency"),
        ({"volume_cm3": 500, "waste_percent": -1}, "waste"),
    ],
)
def test_nonsense_is_refused_by_its_name(asked: dict[str, float], field: str) -> None:
    with pytest.raises(OutOfRange) as refusal:
        plaster.mix(**asked)
    assert refusal.value.field == field


def test_an_unknown_plaster_and_an_unknown_height_are_refused() -> None:
    with pytest.raises(OutOfRange, match="one of fast, medium, slow"):
        plaster.strip_after_min("instant")
    with pytest.raises(OutOfRange, match="fill height"):
        plaster.estimated_cm3(250, 95, 20)
