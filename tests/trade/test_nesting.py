"""Blanks on sheets never overlap, never stick out, and none is lost."""

from collections.abc import Sequence

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from app.trade import OutOfRange
from app.trade.nesting import Blank, Placed, Sheet, nest

BLANKS = st.lists(st.tuples(st.integers(60, 200), st.integers(100, 400)), min_size=1, max_size=25)


@given(BLANKS, st.integers(0, 5), st.integers(1, 6))
def test_no_blank_overlaps_sticks_out_or_is_lost(sizes: list[tuple[int, int]], kerf: int, count: int) -> None:
    blanks = [Blank(f"b{n}", width, length) for n, (width, length) in enumerate(sizes)]
    cuts, left = nest(blanks, [Sheet("whole", 1000, 600, count), Sheet("half", 500, 600, 1)], kerf)
    names = [each.name for cut in cuts for each in cut.blanks] + [each.name for each in left]
    assert sorted(names) == sorted(each.name for each in blanks)
    asked = {each.name: {each.width_mm, each.length_mm} for each in blanks}
    for cut in cuts:
        assert 0 < cut.used <= 1
        for one in cut.blanks:
            assert {one.width_mm, one.length_mm} == asked[one.name]
            assert 0 <= one.x_mm <= cut.width_mm - one.width_mm
            assert 0 <= one.y_mm <= cut.length_mm - one.length_mm
        for n, one in enumerate(cut.blanks):
            for other in cut.blanks[n + 1 :]:
                apart_x = one.x_mm + one.width_mm + kerf <= other.x_mm or other.x_mm + other.width_mm + kerf <= one.x_mm
                apart_y = (
                    one.y_mm + one.length_mm + kerf <= other.y_mm or other.y_mm + other.length_mm + kerf <= one.y_mm
                )
                assert apart_x or apart_y, "with the width of the saw between them"
    assert sum(cut.sheet == "whole" for cut in cuts) <= count


def apart(one: int, long: int, other: int, wide: int, kerf: int) -> bool:
    return one + long + kerf <= other or other + wide + kerf <= one


def test_a_blank_is_turned_where_it_only_fits_so() -> None:
    cuts, left = nest([Blank("long", 300, 120)], [Sheet("strip", 150, 400, 1)])
    assert not left
    assert (cuts[0].blanks[0].width_mm, cuts[0].blanks[0].length_mm) == (120, 300)


def test_four_quarters_fill_a_sheet() -> None:
    cuts, left = nest([Blank(str(n), 500, 300) for n in range(4)], [Sheet("whole", 1000, 600, 3)])
    assert (len(cuts), cuts[0].used, left) == (1, 1.0, [])


def test_nonsense_is_refused() -> None:
    with pytest.raises(OutOfRange, match="width of b"):
        nest([Blank("b", 0, 100)], [Sheet("whole", 1000, 600, 1)])
    with pytest.raises(OutOfRange, match="length of whole"):
        nest([Blank("b", 100, 100)], [Sheet("whole", 1000, 60_000, 1)])


@given(BLANKS, st.integers(0, 5))
@example([(100, 400), (100, 400), (200, 300), (100, 200), (200, 300), (200, 100), (150, 300), (60, 300)], 4)
def test_a_saw_that_cuts_from_edge_to_edge_gets_every_blank_out(sizes: list[tuple[int, int]], kerf: int) -> None:
    cuts, _ = nest(
        [Blank(f"b{n}", width, length) for n, (width, length) in enumerate(sizes)], [Sheet("w", 1000, 600, 9)], kerf
    )
    assert all(comes_apart(cut.blanks) for cut in cuts)


def comes_apart(blanks: Sequence[Placed]) -> bool:
    """Whether straight cuts through all that is left separate them: none is cut in two."""
    if len(blanks) < 2:
        return True
    for start, size in (("x_mm", "width_mm"), ("y_mm", "length_mm")):
        for at in sorted(getattr(each, start) + getattr(each, size) for each in blanks):
            before = [each for each in blanks if getattr(each, start) + getattr(each, size) <= at]
            after = [each for each in blanks if getattr(each, start) >= at]
            if before and after and len(before) + len(after) == len(blanks):
                return comes_apart(before) and comes_apart(after)
    return False


def test_no_stock_leaves_everything_over() -> None:
    blank = Blank("b", 100, 100)
    assert nest([blank], []) == ([], [blank])
