"""Stance against trigonometry, numpy's vectors, a drawn photo of known angles, and the published bands."""

import itertools
import math
from collections import Counter

import numpy as np
import pytest
from PIL import Image, ImageDraw

from app.trade import stance
from app.trade.stance import Line, Point


def test_three_and_a_half_out_over_forty_down_is_five_degrees() -> None:
    """The worked pair of points for the heel's bisection (FAOJ 2019;12(1):4): atan2(3.5, 40)."""
    out = Line((100.0, 100.0), (103.5, 140.0))
    assert round(stance.valgus_deg("R", out), 2) == 5.00
    assert round(stance.valgus_deg("L", out), 2) == -5.00


@pytest.mark.parametrize(("dx", "dy"), list(itertools.product((-150, -35, 0, 8, 40, 160), (300, 420, 700))))
@pytest.mark.parametrize("hung", [-60, 0, 25])
def test_the_angle_between_two_lines_is_that_of_numpy_s_vectors(dx: int, dy: int, hung: int) -> None:
    line, plumb = Line((500, 80), (500 + dx, 80 + dy)), Line((40, 10), (40 + hung, 910))
    one, other = np.subtract(line.lower, line.upper), np.subtract(plumb.lower, plumb.upper)
    between = np.degrees(np.arccos(np.dot(one, other) / np.linalg.norm(one) / np.linalg.norm(other)))
    right = -np.sign(one[0] * other[1] - one[1] * other[0])  # of the plumb line, in a picture whose y leads down
    assert stance.valgus_deg("R", line, plumb) == pytest.approx(-right * between, abs=1e-6)


def photo(angles: dict[str, tuple[float, float]], askew: float) -> tuple[Image.Image, dict[str, Point]]:
    """Two legs from behind, each a leg's and a heel's line at these angles, and a cord; the whole turned by `askew`.

    A dot of its own grey marks each point that a person would mark. Drawn with sines and cosines alone.
    """
    width, height = 900, 1200
    picture = Image.new("L", (width, height), 230)
    pen = ImageDraw.Draw(picture)
    turn = complex(math.cos(math.radians(askew)), math.sin(math.radians(askew)))
    middle = complex(width / 2, height / 2)
    grey = itertools.count(10, 10)
    greys: dict[str, int] = {}

    def dot(name: str, at: complex) -> None:
        seen = (at - middle) * turn + middle
        greys[name] = next(grey)
        pen.ellipse((seen.real - 4, seen.imag - 4, seen.real + 4, seen.imag + 4), fill=greys[name])

    for side, outwards, ankle in (("L", -1, complex(280, 720)), ("R", 1, complex(620, 720))):
        for name, angle, above, below in (("leg", angles[side][0], 420, 40), ("heel", angles[side][1], -60, 260)):
            along = complex(outwards * math.sin(math.radians(angle)), math.cos(math.radians(angle)))
            dot(f"{side}.{name}.upper", ankle - along * above)
            dot(f"{side}.{name}.lower", ankle + along * below)
    dot("plumb.upper", complex(450, 100))
    dot("plumb.lower", complex(450, 1100))
    return picture, {name: found(picture, value) for name, value in greys.items()}


def found(picture: Image.Image, grey: int) -> Point:
    """The middle of the dot of this grey, to the whole pixel, as a hand would mark it."""
    rows, columns = np.nonzero(np.asarray(picture) == grey)
    return float(round(columns.mean())), float(round(rows.mean()))


@pytest.mark.parametrize("askew", [0.0, 2.5, -4.0])
@pytest.mark.parametrize(
    "angles", [{"L": (-6.0, 7.0), "R": (-6.0, 7.0)}, {"L": (2.0, -4.0), "R": (-3.5, 12.0)}, {"L": (0, 0), "R": (0, 0)}]
)
def test_known_angles_are_found_in_a_drawn_photo_within_half_a_degree(
    angles: dict[str, tuple[float, float]], askew: float
) -> None:
    _, at = photo(angles, askew)
    lines = {name: Line(at[f"{name}.upper"], at[f"{name}.lower"]) for name in ("L.leg", "L.heel", "R.leg", "R.heel")}
    plumb = Line(at["plumb.upper"], at["plumb.lower"])
    for side, (leg, heel) in angles.items():
        seen = stance.from_points(side, lines[f"{side}.leg"], lines[f"{side}.heel"], plumb)
        assert seen.leg_deg == pytest.approx(leg, abs=0.5)
        assert seen.heel_deg == pytest.approx(heel, abs=0.5)
        assert seen.heel_to_leg_deg == pytest.approx(heel - leg, abs=0.7)
    if askew:
        level = stance.valgus_deg("R", lines["R.heel"])
        assert level == pytest.approx(angles["R"][1] - askew, abs=0.5), "without the cord the camera's tilt is in it"


def test_every_total_of_the_six_items_has_its_published_band() -> None:
    """Justine et al. 2016: -12..-5, -4..-1, 0..5, 6..9, 10..12; every one of the 5^6 ways to score a foot."""
    published = {
        "highly supinated": range(-12, -4),
        "supinated": range(-4, 0),
        "neutral": range(6),
        "pronated": range(6, 10),
        "highly pronated": range(10, 13),
    }
    called = {total: words for words, totals in published.items() for total in totals}
    ways = Counter(stance.posture_index(items) for items in itertools.product(range(-2, 3), repeat=6))
    assert {total: stance.band(total) for total in ways} == called
    one = np.ones(5, dtype=int)
    six = one
    for _ in range(5):
        six = np.convolve(six, one)  # how often each total comes up is the sixth power of a flat die
    assert [ways[total] for total in range(-12, 13)] == six.tolist()


def test_an_arch_of_a_third_and_a_drop_of_nine_are_divisions_and_differences() -> None:
    assert stance.arch_height_index(62.0, 186.0) == pytest.approx(1 / 3)
    assert stance.navicular_drop_mm(44.5, 35.5) == pytest.approx(9.0)
