"""What a wearer notes at home, against the leaflets: hours do not rise after a painful day until it has gone.

Leaflets of four public hospital services; that wearing stops with a red flag until a clinician has looked, of three.
Each row is worked out by hand: what was noted on each day (- nothing, p pain, g good, F a red flag, f one that was
cleared on day 5 or the same day), and the hours that the hour plan then gives.
"""

import pytest

from app.fitting.rules.wearer import WORST, Day, held_days
from app.trade import wearing


def noted(days: str, cleared: int | None) -> list[Day]:
    said = {"p": {"comfort": WORST}, "g": {"comfort": 4}, "F": {"flagged": True}, "f": {"flagged": True}}
    found = []
    for number, mark in enumerate(days, start=1):
        if mark != "-":
            found.append(Day(number, **said[mark], cleared=cleared if mark == "f" else None))  # type: ignore[arg-type]
    return found


@pytest.mark.parametrize(
    ("days", "cleared", "hours"),
    [
        ("-------", None, [1, 2, 3, 4, 5, 6, 7]),
        ("ggggggg", None, [1, 2, 3, 4, 5, 6, 7]),
        ("ggpggg-", None, [1, 2, 3, 3, 4, 5, 6]),
        ("ggppgg-", None, [1, 2, 3, 3, 3, 4, 5]),  # day 3 and still day 4; day 5 was free of pain
        ("ggp--g-", None, [1, 2, 3, 3, 3, 3, 4]),  # silence does not say that it has gone
        ("ggp----", None, [1, 2, 3, 3, 3, 3, 3]),
        ("ggFgggg", None, [1, 2, 3, 3, 3, 3, 3]),  # good days do not clear a red flag
        ("ggfgggg", 5, [1, 2, 3, 3, 3, 4, 5]),
        ("ggfgggg", 3, [1, 2, 3, 3, 4, 5, 6]),
        ("p------", None, [1, 1, 1, 1, 1, 1, 1]),
    ],
)
def test_the_hours_are_held_as_the_leaflets_say(days: str, cleared: int | None, hours: list[int]) -> None:
    plan = wearing.PLANS["hour"]
    held = held_days(noted(days, cleared), len(days))
    numbers = (plan.start_minutes, plan.step_minutes, plan.target_minutes)
    assert [each / 60 for each in wearing.hours(*numbers, len(days), frozenset(held))] == hours
