"""How forecasts are put right by earlier ones, and how it is counted whether they held."""

from datetime import date

import numpy as np

from app.turnaround.rules.forecast import scored, trusted
from app.turnaround.rules.forecast.tested import packed, unpacked
from app.turnaround.rules.forecast.trusted import Foretold


def week(made_on: int, late_by: int, count: int = 60) -> Foretold:
    """Forecasts of days 1 to 10 ahead, each as likely, all of which came `late_by` days after the Monday."""
    raw = np.tile(made_on + 1 + np.arange(100) // 10, (count, 1))
    day = np.full(count, made_on + 3)
    return Foretold(
        made_on, np.arange(count), np.full(count, 5), np.full(count, 3), raw, day, day, day * 0 + made_on + late_by
    )


def test_forecasts_are_put_right_by_what_was_known_when_they_were_made_and_by_nothing_later() -> None:
    monday = date(2027, 1, 11).toordinal()
    weeks = [week(monday + 7 * number, late_by=6) for number in range(6)]
    right = scored.scored(weeks, monday + 70)
    otherwise = scored.scored([*weeks[:-1], week(weeks[-1].made_on, late_by=9)], monday + 70)
    assert (right.likely - right.came == 0).all(), "all came six days after: that day holds now"
    assert right.likely.tolist() == otherwise.likely.tolist()
    assert trusted.learn(weeks[:1], monday) == {}


def test_what_has_not_come_when_its_day_is_over_counts_as_missed() -> None:
    monday = date(2027, 1, 11).toordinal()
    weeks = [week(monday + 7 * number, late_by=3) for number in range(5)]
    open_still = weeks[-1]._replace(came=np.full(60, trusted.NOT_YET))
    rows = scored.scored([*weeks[:-1], open_still], monday + 70)
    whole = scored.overall(rows)
    assert whole.size - whole.likely == 60


def test_a_week_is_kept_as_it_was_and_a_missed_promise_costs_most() -> None:
    monday = date(2027, 1, 11).toordinal()
    made = week(monday, late_by=4)._replace(came=np.array([monday + 4] * 59 + [trusted.NOT_YET]))
    again = unpacked(monday, packed(made))
    for name in Foretold._fields[1:]:
        assert np.array_equal(getattr(again, name), getattr(made, name)), name
    day, late, early = (np.array([monday + offset]) for offset in (4, 5, 3))
    assert scored.pinball(day, day, day) == 0
    assert scored.pinball(day, day, late) > scored.pinball(day, day, early) > 0
