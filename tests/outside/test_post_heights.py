"""Wedge heights against worked trigonometry and against geometry without tangents."""

import cmath
import math

import pytest

from app.trade import posts


@pytest.mark.parametrize(
    ("width", "degrees", "height"),
    [(60, 4, 4.196), (65, 4, 4.545), (50, 6, 5.255), (90, 4, 6.293), (57.29, 1, 1.000)],
)
def test_heights_computed_once_by_trigonometry_to_a_thousandth(width: float, degrees: float, height: float) -> None:
    assert round(posts.wedge_height_mm(width, degrees), 3) == height


def test_a_five_twelve_thirteen_triangle_is_a_wedge_of_five() -> None:
    """Euclid's triangle: 12 wide and 5 high where the slope is 13 long."""
    assert posts.wedge_height_mm(12, math.degrees(math.asin(5 / 13))) == pytest.approx(5, rel=1e-12)


@pytest.mark.parametrize("degrees", [0.5, 2, 4, 6, 15, 30])
def test_the_wedge_s_slope_points_as_far_up_as_it_was_prescribed(degrees: float) -> None:
    slope = complex(60, posts.wedge_height_mm(60, degrees))
    assert math.degrees(cmath.phase(slope)) == pytest.approx(degrees, rel=1e-12)
