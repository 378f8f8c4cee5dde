"""Oven, sheet and blank against what was published, and the units against exact definitions."""

import pytest

from app.trade import heat


def test_a_copolymer_sheet_has_two_temperatures() -> None:
    """Foster, J Prosthet Orthot 2004;16(2):46-48: oven at 199 °C, the 4.8 mm sheet leaves it at 152 to 166 °C."""
    row = heat.setting(heat.DEFAULTS, "copolymer", 4.8)
    assert row is not None
    assert (row.oven_c, row.sheet_low_c, row.sheet_high_c, row.trust) == (199, 152, 166, "published")
    assert row.vacuum_inhg == pytest.approx(heat.inhg_from_psi(12), abs=0.05)


def test_a_pound_per_square_inch_in_mercury() -> None:
    """From definitions: 0.45359237 kg x 9.80665 m/s² on a square inch, against mercury of 13 595.1 kg/m³ at 0 °C."""
    pascal = 0.45359237 * 9.80665 / 0.0254**2
    assert pytest.approx(pascal / (13_595.1 * 9.80665 * 0.0254), rel=1e-5) == heat.PSI_TO_INHG


@pytest.mark.parametrize(
    ("material", "low", "high"), [("polypropylene", 150, 180), ("acrylic", 143, 160), ("hdpe", 138, 138)]
)
def test_sheet_temperatures_of_the_sheet_trade(material: str, low: float, high: float) -> None:
    """Sheet-trade notes."""
    row = heat.setting(heat.DEFAULTS, material, 4.0)
    assert row is not None
    assert (row.sheet_low_c, row.sheet_high_c) == (low, high)


def test_what_is_only_remembered_says_so() -> None:
    """Polypropylene 20 to 25 minutes at 180 °C and EVA 3 to 5 at 120 °C: from memory of a guideline of 2006."""
    for material, oven, minutes in (("polypropylene", 180, (20, 25)), ("eva", 120, (3, 5))):
        row = heat.setting(heat.DEFAULTS, material, 4.0)
        assert row is not None
        assert (row.oven_c, (row.minutes_low, row.minutes_high), row.trust) == (oven, minutes, "from memory")


@pytest.mark.parametrize("shrinkage", [2, 3])
def test_a_blank_shrinks_to_what_was_wanted(shrinkage: float) -> None:
    """Sheet-trade notes: 2 to 3 per cent on a positive; blank = L / (1 - s)."""
    blank = heat.blank_mm(250, shrinkage)
    assert blank * (1 - shrinkage / 100) == pytest.approx(250)


def test_vacuum_below_twenty_inches_is_weak() -> None:
    """A university course text on drape forming."""
    assert heat.enough_vacuum(20)
    assert not heat.enough_vacuum(19.9)
