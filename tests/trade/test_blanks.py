"""A blank grows with the foot, its margin and its shrinkage, and still covers the shell once it has cooled."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.trade import OutOfRange, blanks
from app.trade.blanks import Foot

FEET = st.builds(Foot, st.floats(100, 350), st.floats(50, 130))
LENGTHS = st.sampled_from(["metatarsals", "sulcus", "full"])
WIDTHS = st.sampled_from(["narrow", "standard", "wide"])


@given(FEET, LENGTHS, WIDTHS, st.floats(0, 30), st.floats(0, 10), st.floats(0, 40))
def test_a_blank_covers_the_shell_when_it_has_cooled(
    foot: Foot, length: str, width: str, cup: float, shrinkage: float, margin: float
) -> None:
    blank = blanks.shell_blank(foot, length, width, cup, shrinkage, margin)
    cooled = blank.length_mm * (1 - shrinkage / 100) - 2 * margin
    assert cooled == pytest.approx(foot.length_mm * blanks.LENGTH_PART[length] + cup)
    assert blank.width_mm * (1 - shrinkage / 100) >= foot.breadth_mm * 0.9 + 2 * margin


@given(FEET, st.floats(0, 5), st.floats(0, 5))
def test_what_shrinks_more_is_cut_larger(foot: Foot, one: float, other: float) -> None:
    less, more = sorted((one, other))
    sizes = [blanks.shell_blank(foot, "full", "standard", 12, shrinkage, 20) for shrinkage in (less, more)]
    assert sizes[0].length_mm <= sizes[1].length_mm
    assert sizes[0].width_mm <= sizes[1].width_mm


@given(FEET)
def test_covers_are_longer_the_further_they_reach(foot: Foot) -> None:
    lengths = [blanks.cover_length_mm(foot, to) for to in ("metatarsals", "sulcus", "toes")]
    assert lengths == sorted(lengths)
    assert blanks.cover_blank(foot, "toes", 5).length_mm == pytest.approx(lengths[2] + 10)


def test_nonsense_is_refused_by_its_name() -> None:
    with pytest.raises(OutOfRange, match="foot length is 24 mm"):
        Foot(24, 90)
    with pytest.raises(OutOfRange, match="breadth is nan mm"):
        Foot(240, float("nan"))
    with pytest.raises(OutOfRange, match="cover length is ankle"):
        blanks.cover_length_mm(Foot(240, 90), "ankle")
    with pytest.raises(OutOfRange, match="margin is 200 mm"):
        blanks.cover_blank(Foot(240, 90), "toes", 200)
