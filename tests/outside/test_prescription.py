"""The checks of a prescription against what was published, cell by cell."""

import math
from datetime import date

import pytest

from app.trade.prescription import Known, check, polypropylene_thickness

TODAY = date(2026, 11, 25)


@pytest.mark.parametrize(
    ("mass", "posture", "tenths"),
    [
        (74.9, 1, 40),
        (74.9, 12, 40),
        (75, 1, 45),
        (110, 6, 45),
        (74.9, -1, 30),
        (40, -12, 30),
        (75.1, -1, 40),
        (110, -5, 40),
        (60, 0, None),
        (90, 0, None),
        (75, -3, None),
    ],
)
def test_polypropylene_by_mass_and_posture(mass: float, posture: int, tenths: int | None) -> None:
    """McCormick, Bonanno and Landorf, J Foot Ankle Res 2013;6:19; None where its table leaves a cell open."""
    assert polypropylene_thickness(mass, posture) == tenths


@pytest.mark.parametrize(("tenths", "level"), [(100, None), (101, "caution"), (150, "caution"), (151, "stop")])
def test_heel_lifts_inside_the_shoe(tenths: int, level: str | None) -> None:
    """A podiatry periodical, 2019: a warning above 10 mm, and above 15 mm not without a reason."""
    found = [each.level for each in check(Known({"L": {"heel_lift": tenths}}, TODAY))]
    assert found == ([level] if level else [])


@pytest.mark.parametrize("degrees", range(1, 16))
def test_a_post_is_too_high_when_its_wedge_is(degrees: int) -> None:
    """Trigonometry over a heel of 60 mm; both the width and the limit of 8 mm are from memory."""
    found = check(Known({"L": {"rearfoot_post": f"{degrees} varus"}}, TODAY))
    assert bool(found) == (60 * math.tan(math.radians(degrees)) > 8)


def test_an_active_ulcer_stops_the_order() -> None:
    """van Netten et al., J Foot Ankle Res 2018;11:2, recommendation 10: an insole alone is not the treatment."""
    (found,) = check(Known({"L": {}}, TODAY, risks=frozenset({"active_ulcer"})))
    assert (found.level, found.trust) == ("stop", "published")


@pytest.mark.parametrize(("size", "foot", "said"), [(39.75, 2500, False), (39.75, 2640, False), (39.75, 2700, True)])
def test_a_size_that_is_made_for_another_foot(size: float, foot: int, said: bool) -> None:
    """EU 39.75 for a foot of 250 mm at 15 mm of allowance: computed once from the sizes' definitions."""
    known = Known({"L": {}}, TODAY, foot_length={"L": foot}, shoe={"size": size, "system": "eu"})
    assert bool(check(known)) == said
