"""A wearer's plan day by day, what pain does to it, and the days on which the wearer comes back."""

from datetime import date, time, timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.trade import OutOfRange, wearing
from app.trade.worktime import WorkCalendar

CALENDAR = WorkCalendar(
    "Europe/Lisbon", (((time(8), time(17)),),) * 5 + ((), ()), frozenset({date(2026, 12, 25), date(2027, 1, 1)})
)
steady = settings(derandomize=True, deadline=None)
starts = st.integers(1, 240)
steps = st.integers(0, 120)
targets = st.integers(240, 1440)
day_numbers = st.sets(st.integers(1, 40))
dates = st.dates(date(2020, 1, 1), date(2060, 12, 31))


def test_a_wearer_starts_with_an_hour_and_with_half_an_hour_where_feeling_is_lost() -> None:
    assert wearing.usual(sensation_loss=False) == wearing.PLANS["hour"]
    assert wearing.usual(sensation_loss=True) == wearing.PLANS["half_hour"]


@pytest.mark.parametrize("plan", wearing.PLANS.values(), ids=wearing.PLANS.keys())
def test_every_plan_is_worth_offering_and_says_where_it_comes_from(plan: wearing.Plan) -> None:
    assert wearing.PLANS[plan.key] is plan
    assert wearing.hours(plan.start_minutes, plan.step_minutes, plan.target_minutes, 30)[-1] == plan.target_minutes
    assert plan.words
    assert "leaflets" in plan.source


def test_the_day_that_hurt_keeps_its_hours_and_the_next_repeats_them() -> None:
    assert wearing.hours(30, 30, 480, 4, painful={2}) == (30, 60, 60, 90)


def test_pain_every_day_keeps_the_first_day_s_hours() -> None:
    assert wearing.hours(60, 60, 480, 5, painful=set(range(1, 6))) == (60,) * 5


def test_pain_noted_for_a_day_that_is_not_asked_for_changes_nothing() -> None:
    assert wearing.hours(60, 60, 480, 3, painful={3, 9}) == wearing.hours(60, 60, 480, 3)


def test_a_step_never_passes_the_target() -> None:
    assert wearing.hours(60, 100, 200, 4) == (60, 160, 200, 200)


def test_no_days_is_no_plan() -> None:
    assert wearing.hours(60, 60, 480, 0) == ()


@steady
@given(starts, steps, targets, day_numbers)
def test_hours_never_fall_never_jump_and_never_pass_the_target(
    start: int, step: int, target: int, painful: set[int]
) -> None:
    plan = wearing.hours(start, step, target, 40, painful)
    rises = [after - before for before, after in pairwise(plan)]
    assert plan[0] == start
    assert max(plan) <= target
    assert all(0 <= rise <= step for rise in rises)


@steady
@given(starts, steps, targets, day_numbers)
def test_after_a_painful_day_the_hours_stay(start: int, step: int, target: int, painful: set[int]) -> None:
    plan = wearing.hours(start, step, target, 41, painful)
    assert all(plan[day] == plan[day - 1] for day in painful)


@steady
@given(starts, steps, targets, day_numbers, st.integers(1, 40))
def test_one_more_painful_day_never_adds_a_minute(
    start: int, step: int, target: int, painful: set[int], day: int
) -> None:
    with_it = wearing.hours(start, step, target, 41, painful | {day})
    without = wearing.hours(start, step, target, 41, painful - {day})
    assert all(less <= more for less, more in zip(with_it, without, strict=True))


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ((0, 60, 480, 14), "start minutes is 0"),
        ((500, 60, 480, 14), "from 1 to the 480 aimed at"),
        ((60, -30, 480, 14), "step minutes is -30"),
        ((60, 60, 0, 14), "target minutes is 0"),
        ((60, 60, 1441, 14), "from 1 to 1440"),
        ((60, 60, 480, -1), "days is -1"),
        ((60, 60, 480, 14, {0, 3}), "painful day is 0"),
    ],
)
def test_a_plan_that_cannot_be_worn_is_refused_with_the_field_and_the_range(
    arguments: tuple[int, int, int, int], told: str
) -> None:
    with pytest.raises(OutOfRange, match=told):
        wearing.hours(*arguments)


def test_the_review_is_two_weeks_later_and_one_week_at_high_risk() -> None:
    thursday = date(2026, 11, 26)
    assert wearing.review_day(thursday, False, CALENDAR) == date(2026, 12, 10)
    assert wearing.review_day(thursday, True, CALENDAR) == date(2026, 12, 3)


def test_a_review_that_falls_on_a_holiday_before_a_weekend_moves_to_monday() -> None:
    assert wearing.review_day(date(2026, 12, 11), False, CALENDAR) == date(2026, 12, 28)


@pytest.mark.parametrize(
    ("dispensed", "rechecks"),
    [
        (date(2026, 8, 27), (date(2026, 11, 27), date(2027, 3, 1))),  # 27 February 2027 is a Saturday
        (date(2026, 11, 30), (date(2027, 3, 1), date(2027, 5, 31))),  # there is no 30 February; the 28th is a Sunday
        (date(2027, 11, 30), (date(2028, 2, 29), date(2028, 5, 30))),  # a leap year has a 29th
    ],
)
def test_rechecks_are_three_and_six_months_later(dispensed: date, rechecks: tuple[date, date]) -> None:
    assert wearing.recheck_days(dispensed, CALENDAR) == rechecks


def test_a_yearly_recheck_is_asked_for_by_its_months() -> None:
    assert wearing.recheck_days(date(2026, 11, 26), CALENDAR, months=(12,)) == (date(2027, 11, 26),)
    assert wearing.recheck_days(date(2026, 11, 26), CALENDAR, months=()) == ()


def test_a_recheck_is_never_before_a_month_has_passed() -> None:
    with pytest.raises(OutOfRange, match="recheck months is 0"):
        wearing.recheck_days(date(2026, 11, 26), CALENDAR, months=(3, 0))


@steady
@given(dates, st.booleans())
def test_nobody_is_called_in_on_a_day_off_or_much_later_than_planned(dispensed: date, high_risk: bool) -> None:
    review = wearing.review_day(dispensed, high_risk, CALENDAR)
    planned = dispensed + timedelta(weeks=1 if high_risk else 2)
    assert planned <= review <= planned + timedelta(days=3)
    assert all(CALENDAR.is_working_day(day) for day in (review, *wearing.recheck_days(dispensed, CALENDAR)))
