"""Wearing-in hours as public leaflets give them, and review days against general calendar libraries.

Leaflets of four public hospital services: an hour on day 1 and an hour more each day; or half an hour and half an
hour more, which makes five hours on day 10; hours do not rise after a painful day until the pain has gone. That the
rise ends at eight hours is common practice, no source.
"""

from datetime import date, time

import holidays
import numpy as np
import pandas as pd
import pytest

from app.trade import wearing
from app.trade.worktime import WorkCalendar

US_HOLIDAYS = sorted(holidays.country_holidays("US", years=range(2026, 2029)))
NINE_TO_FIVE = ((time(9), time(17)),)
CALENDAR = WorkCalendar("America/New_York", (NINE_TO_FIVE,) * 5 + ((), ()), frozenset(US_HOLIDAYS))
EVERY_DAY_OF_2026 = [day.date() for day in pd.date_range("2026-01-01", "2026-12-31")]


def by_plan(key: str, days: int) -> tuple[int, ...]:
    plan = wearing.PLANS[key]
    return wearing.hours(plan.start_minutes, plan.step_minutes, plan.target_minutes, days)


def test_the_hour_plan_is_the_leaflets_one_two_three_hours() -> None:
    assert [minutes / 60 for minutes in by_plan("hour", 10)] == [1, 2, 3, 4, 5, 6, 7, 8, 8, 8]


def test_the_half_hour_plan_reaches_five_hours_on_day_ten() -> None:
    assert by_plan("half_hour", 10) == (30, 60, 90, 120, 150, 180, 210, 240, 270, 300)


@pytest.mark.parametrize("key", wearing.PLANS)
def test_a_plan_without_pain_is_a_straight_line_cut_at_its_target(key: str) -> None:
    plan = wearing.PLANS[key]
    line = np.minimum(plan.start_minutes + plan.step_minutes * np.arange(60), plan.target_minutes)
    assert by_plan(key, 60) == tuple(line)


def test_pain_on_days_three_and_four_holds_the_hours_until_it_has_gone() -> None:
    # By hand from the leaflets' sentence: 3 h hurt on day 3 and still on day 4, day 5 was free of pain.
    assert wearing.hours(60, 60, 480, 7, painful={3, 4}) == (60, 120, 180, 180, 180, 240, 300)


@pytest.mark.parametrize(("high_risk", "days"), [(False, 14), (True, 7)])
def test_reviews_fall_on_the_day_numpy_rolls_forward_to(high_risk: bool, days: int) -> None:
    for dispensed in EVERY_DAY_OF_2026:
        due = np.datetime64(dispensed, "D") + np.timedelta64(days, "D")
        rolled = np.busday_offset(due, 0, roll="forward", holidays=US_HOLIDAYS)
        assert wearing.review_day(dispensed, high_risk, CALENDAR) == rolled.astype(date)


def test_rechecks_are_three_and_six_calendar_months_later_rolled_forward() -> None:
    for dispensed in EVERY_DAY_OF_2026:
        months_later = [(pd.Timestamp(dispensed) + pd.DateOffset(months=months)).date() for months in (3, 6)]
        rolled = np.busday_offset(np.array(months_later, "M8[D]"), 0, roll="forward", holidays=US_HOLIDAYS)
        assert list(wearing.recheck_days(dispensed, CALENDAR)) == rolled.tolist()
