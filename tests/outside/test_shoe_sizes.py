"""Shoe sizes against values worked out elsewhere, and units against SciPy's table of constants.

EU = 1.5 x cm, UK = 3 x in - 25, US men = 3 x in - 24, US women = 3 x in - 22.5, of the last: an encyclopaedia article
and a restatement of it. Steps: ISO/TS 19407:2015, introduction. A guide alone; no conformity is claimed or tested.
"""

import pytest
from scipy import constants

from app.trade import sizes, units


@pytest.mark.parametrize(
    ("foot_mm", "eu", "uk", "us_men", "us_women"),
    [
        (240, 38.25, 5.12, 6.12, 7.62),
        (250, 39.75, 6.30, 7.30, 8.80),
        (260, 41.25, 7.48, 8.48, 9.98),
        (270, 42.75, 8.66, 9.66, 11.16),
    ],
)
def test_sizes_at_an_allowance_of_fifteen_millimetres(
    foot_mm: int, eu: float, uk: float, us_men: float, us_women: float
) -> None:
    found = {key: round(size, 2) for key, size in sizes.sizes(foot_mm * 10, allowance_tenths=150).items()}
    assert found == {"eu": eu, "uk": uk, "us_men": us_men, "us_women": us_women, "mondopoint": foot_mm}


def test_an_allowance_of_twenty_millimetres_is_three_quarters_of_a_paris_point_more() -> None:
    assert sizes.size(2_400, "eu", allowance_tenths=200) == 1.5 * 26  # a last of 26 cm
    assert sizes.size(2_400, "mondopoint", allowance_tenths=200) == 240


@pytest.mark.parametrize(
    ("system", "step_mm"),
    [("eu", 20 / 3), ("uk", 25.4 / 3), ("us_men", 25.4 / 3), ("us_women", 25.4 / 3), ("mondopoint", 1)],
)
def test_a_whole_size_is_a_paris_point_a_third_of_an_inch_or_a_millimetre(system: str, step_mm: float) -> None:
    """Paris point 2/3 cm; UK and US 1/3 in, 8.47 mm; Mondopoint is the foot's length in mm (ISO 9407)."""
    rise = sizes.size(2_700, system) - sizes.size(2_500, system)
    assert 20 / rise == pytest.approx(step_mm, rel=1e-9)


def test_every_tenth_of_an_inch_and_pound_agrees_with_scipy() -> None:
    for tenth in range(1, 200):
        assert units.read_length(f"{tenth / 10} in") == round(tenth * constants.inch * 1_000)
        assert units.read_mass(f"{tenth} lb") == round(tenth * constants.pound, 1)


@pytest.mark.parametrize("degrees", [-40, 0, 32, 98.6, 212, 390])
def test_temperatures_agree_with_scipy(degrees: float) -> None:
    assert units.read_celsius(f"{degrees} °F") == pytest.approx(constants.convert_temperature(degrees, "F", "C"))


def test_an_oven_of_199_degrees_is_one_of_390_fahrenheit() -> None:
    """Foster, J Prosthet Orthot 2004;16(2):46-48 gives the Celsius value."""
    assert round(units.read_celsius("390 F")) == 199
