"""Each check speaks for itself, only of what is known, and never of a prescription that it does not concern."""

from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.orders.rules import ITEMS
from app.trade.prescription import CHECKS, Known, check

TODAY = date(2026, 11, 25)
PLAIN: dict[str, Any] = {"shell": "polypropylene", "shell_thickness": 40, "cover": "eva", "cover_length": "sulcus"}
ALONE: dict[str, dict[str, Any]] = {
    "ulcer": {"risks": frozenset({"active_ulcer"})},
    "bare": {"risks": frozenset({"sensation_loss"}), "L": {"shell": "eva", "cover": "none"}, "R": {"shell": "eva"}},
    "rigid": {"risks": frozenset({"sensation_loss"}), "R": {"shell": "eva"}, "L": {"shell": "acrylic"}},
    "lift": {"L": {"heel_lift": 120}, "R": {"heel_lift": 90}},
    "thickness": {"mass_kg": 80.0, "posture": {"L": 4}},
    "thickness_asks": {"mass_kg": 80.0, "posture": {"L": 0}},
    "stale": {"captured_on": {"L": date(2025, 11, 25)}},
    "cup": {"shoe": {"kind": "dress"}, "L": {"heel_cup": 180}, "R": {"heel_cup": 170}},
    "wide": {"shoe": {"inside_width": 800}, "L": {"shell_width": "wide"}},
    "width": {"shoe": {"inside_width": 900}, "foot_breadth": {"L": 1000}},
    "liner": {"shoe": {"liner": "in"}, "L": {"cover_length": "toes"}},
    "post": {"L": {"rearfoot_post": "10 varus"}, "R": {"rearfoot_post": "5 varus"}},
    "apart": {"L": {"shell_thickness": 20}},
    "size": {"shoe": {"size": 39.0, "system": "eu"}, "foot_length": {"R": 2800}},
    "collide": {"L": {"additions": ["met_pad", "met_bar"]}},
}
"""What has to be known for one kind of finding alone; L and R are that side's items."""


def known(**told: Any) -> Known:
    told = dict(told)
    body = {side: PLAIN | told.pop(side, {}) for side in ("L", "R")}
    return Known(body, TODAY, **told)


@pytest.mark.parametrize("kind", ALONE)
def test_each_check_is_tripped_alone(kind: str) -> None:
    found = check(known(**ALONE[kind]))
    kinds = {each.key.split(".")[0] for each in found}
    # A shell of another material on one side is told as such, too.
    assert kinds - ({"apart"} if kind in ("bare", "rigid") else set()) == {kind}
    for each in found:
        assert each.sentence.endswith((".", "?"))
        assert each.source


def test_every_check_is_tripped_by_one_of_them() -> None:
    for one in CHECKS:
        assert any(list(one(known(**told))) for told in ALONE.values()), one.__name__


def test_nothing_known_raises_nothing() -> None:
    assert check(known()) == []
    assert check(Known({"L": {}}, TODAY)) == []


def test_the_table_of_adults_is_not_applied_to_a_child() -> None:
    assert check(known(mass_kg=80.0, posture={"L": 4}, child=True)) == []


@pytest.mark.parametrize(("child", "day", "said"), [(True, 24, True), (True, 26, False), (False, 24, False)])
def test_a_child_s_foot_is_asked_for_again_after_three_months(child: bool, day: int, said: bool) -> None:
    found = check(known(child=child, captured_on={"L": date(2026, 8, day)}))
    assert bool(found) == said


def test_a_cover_that_nobody_spoke_of_cushions_no_numb_foot() -> None:
    (found,) = check(Known({"L": {"shell": "eva"}}, TODAY, risks=frozenset({"sensation_loss"})))
    assert (found.key, found.level) == ("bare.L", "stop")


def test_a_forefoot_post_is_as_wide_as_the_device_there() -> None:
    """At the same tilt it is the higher one; of a foot that nobody measured nothing is said."""
    items = {"forefoot_post": "6 varus"}
    (found,) = check(Known({"L": items}, TODAY, foot_breadth={"L": 950}))
    assert (found.at, "9.7" in found.sentence) == ("L.forefoot_post", True)  # 95 mm x .97 x tan 6 degrees
    assert check(Known({"L": items}, TODAY)) == []
    assert check(Known({"L": {"rearfoot_post": "6 varus"}}, TODAY)) == []


@given(st.integers(0, 300), st.integers(0, 300))
def test_a_higher_lift_is_never_judged_milder(one: int, other: int) -> None:
    order = [None, "caution", "stop"]
    low, high = (
        next(iter([each.level for each in check(Known({"L": {"heel_lift": lift}}, TODAY))]), None)
        for lift in sorted((one, other))
    )
    assert order.index(low) <= order.index(high)


def test_every_item_that_is_checked_is_an_item_of_a_prescription() -> None:
    items = {name for told in ALONE.values() for side in ("L", "R") for name in told.get(side, {})}
    assert items <= set(ITEMS)
