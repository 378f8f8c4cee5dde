"""How long a foot is to its metatarsals and how broad it is, against what was measured of people."""

import pytest

from app.trade import blanks
from app.trade.blanks import Foot


def test_a_cover_to_the_metatarsals_is_the_truncated_length() -> None:
    """A public anthropometric survey, 1,986 women: truncated / full length .7392, SD .0134 (computed from its data)."""
    assert blanks.cover_length_mm(Foot(246.3, 92.7), "metatarsals") == pytest.approx(246.3 * 0.7392, abs=0.05)
    assert pytest.approx(0.7392, abs=1e-9) == blanks.TO_METATARSALS


@pytest.mark.parametrize(
    ("length", "breadth", "spread"), [(246.3, 92.7, 4.8), (271.2, 101.9, 5.2)], ids=["women", "men"]
)
def test_the_breadth_that_is_taken_from_a_length(length: float, breadth: float, spread: float) -> None:
    """US Army anthropometric survey 2012, means and standard deviations; the men's read in a secondary text."""
    assert blanks.foot_of_length(length).breadth_mm == pytest.approx(breadth, abs=spread / 4)


def test_schoolchildren_are_a_little_slimmer_and_within_a_standard_deviation() -> None:
    """39 children: 24.72 cm long, 8.99 wide with SD .51 (Meyer, J Stat Educ 2006;14(1), computed from its data)."""
    assert blanks.foot_of_length(247.2).breadth_mm == pytest.approx(89.9, abs=5.1)


def test_a_cover_to_the_toes_leaves_toe_room() -> None:
    """A foot-care text: 10 mm beyond the longest toe, standing."""
    assert blanks.cover_length_mm(Foot(250, 94), "toes") == 260
