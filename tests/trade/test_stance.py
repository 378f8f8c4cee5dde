"""What holds of stance for any feet, and what is told when points or figures can't be meant."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.trade import OutOfRange, stance
from app.trade.stance import Line, Point

tilts = st.floats(-14.5, 14.5)
places = st.tuples(st.floats(0, 5000), st.floats(0, 5000))
lengths = st.floats(40, 4000)
sides = st.sampled_from("LR")


def leaning(tilt: float, top: Point, length: float) -> Line:
    """A line whose lower end lies to the right by `tilt` degrees."""
    turned = math.radians(tilt)
    return Line(top, (top[0] + length * math.sin(turned), top[1] + length * math.cos(turned)))


@given(sides, tilts, tilts, places, places, lengths, lengths)
def test_where_and_how_long_a_line_is_marked_does_not_matter(
    side: str, leg: float, heel: float, one: Point, other: Point, long: float, short: float
) -> None:
    near = stance.from_points(side, leaning(leg, one, long), leaning(heel, other, short))
    far = stance.from_points(side, leaning(leg, other, short), leaning(heel, one, long))
    assert near.leg_deg == pytest.approx(far.leg_deg, abs=1e-6)
    assert near.heel_deg == pytest.approx(far.heel_deg, abs=1e-6)
    assert near.heel_to_leg_deg == pytest.approx(near.heel_deg - near.leg_deg, abs=1e-9)


@given(tilts, places, lengths)
def test_the_mirrored_photo_of_the_other_foot_says_the_same(tilt: float, top: Point, length: float) -> None:
    line, mirrored = leaning(tilt, top, length), leaning(-tilt, top, length)
    assert stance.valgus_deg("R", line) == pytest.approx(stance.valgus_deg("L", mirrored), abs=1e-9)


@given(sides, tilts, tilts, places, lengths)
def test_a_plumb_line_takes_the_camera_s_tilt_out(
    side: str, tilt: float, askew: float, top: Point, length: float
) -> None:
    level = stance.valgus_deg(side, leaning(tilt, top, length))
    turned = stance.valgus_deg(side, leaning(tilt + askew, top, length), leaning(askew, (0, 0), 900))
    assert turned == pytest.approx(level, abs=1e-6)


@given(st.floats(20, 4000))
def test_a_pixel_off_turns_a_long_line_by_less_than_a_short_one(length: float) -> None:
    short, long = leaning(0, (0, 0), length), leaning(0, (0, 0), length * 2)
    assert 0 < stance.pixel_deg(long) < stance.pixel_deg(short) < 3


@pytest.mark.parametrize(
    ("line", "says"),
    [
        (Line((100, 100), (100, 100)), "leg is 0.0 px long"),
        (Line((100, 100), (103, 109)), "leg is 9.5 px long"),
        (Line((100, 100), (400, 120)), "leg is 86° from upright"),
        (Line((100, 400), (100, 100)), "the upper point above the lower"),
        (Line((100, math.nan), (100, 100)), "marked by two points"),
    ],
)
def test_points_that_make_no_upright_line_are_told(line: Line, says: str) -> None:
    heel = Line((100, 500), (100, 700))
    with pytest.raises(OutOfRange, match=says.replace(".", r"\.")):
        stance.from_points("L", line, heel)


@pytest.mark.parametrize(("leg", "heel", "field"), [(31, 0, "leg"), (0, -30.1, "heel"), (0, math.nan, "heel")])
def test_angles_that_no_foot_stands_at_are_told(leg: float, heel: float, field: str) -> None:
    with pytest.raises(OutOfRange) as told:
        stance.Stance(leg, heel)
    assert told.value.field == field


@pytest.mark.parametrize("items", [(0, 0, 0, 0, 0), (0, 0, 3, 0, 0, 0), (0, 0, -3, 0, 0, 0)])
def test_a_foot_s_posture_is_six_items_of_five_steps(items: tuple[int, ...]) -> None:
    with pytest.raises(OutOfRange):
        stance.posture_index(items)


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: stance.arch_height_index(62, 0),
        lambda: stance.arch_height_index(-1, 180),
        lambda: stance.arch_height_index(621, 186),
        lambda: stance.navicular_drop_mm(0, 40),
        lambda: stance.navicular_drop_mm(40, math.inf),
        lambda: stance.band(13),
    ],
)
def test_lengths_and_totals_beyond_any_foot_are_told(wrong: object) -> None:
    assert callable(wrong)
    with pytest.raises(OutOfRange):
        wrong()
