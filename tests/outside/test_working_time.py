"""Working days against numpy and `holidays`, working minutes against pandas: general-purpose libraries, not ours.

The calendar is a lab open 08:00-12:00 and 13:00-17:00 from Monday to Friday. CustomBusinessHour counts in wall time,
which is the same as real time while no span holds a clock change; the night shift, whose spans do, is checked by
looking at every minute of the year through pandas' own conversion of time zones.
"""

from datetime import UTC, date, datetime, time, timedelta

import holidays
import numpy as np
import pandas as pd
import pytest

from app.trade.worktime import Span, WorkCalendar

DAY: tuple[Span, ...] = ((time(8), time(12)), (time(13), time(17)))
NIGHT: tuple[Span, ...] = ((time(0), time(6)), (time(21, 30), time(0)))
WEEK = (DAY,) * 5 + ((), ())
US_DAYS_OFF = frozenset(holidays.country_holidays("US", years=range(2025, 2029)))
PT_DAYS_OFF = frozenset(holidays.country_holidays("PT", years=range(2025, 2029)))


@pytest.fixture(scope="module")
def lab() -> WorkCalendar:
    return WorkCalendar("Europe/Lisbon", WEEK, PT_DAYS_OFF)


@pytest.mark.parametrize(
    ("start", "with_holidays", "without"),
    # Computed once with numpy.busday_offset and the US holidays of `holidays`.
    [("2026-11-20", "2026-12-07", "2026-12-04"), ("2026-12-18", "2027-01-05", "2027-01-01")],
)
def test_ten_working_days_over_the_holidays(start: str, with_holidays: str, without: str) -> None:
    day = date.fromisoformat(start)
    american = WorkCalendar("America/New_York", WEEK, US_DAYS_OFF)
    plain = WorkCalendar("America/New_York", WEEK)
    assert str(american.add_working_days(day, 10)) == with_holidays
    assert str(plain.add_working_days(day, 10)) == without


def test_every_day_of_two_years_moves_on_as_numpy_s_busday_offset(lab: WorkCalendar) -> None:
    days = np.arange("2026-01-01", "2028-01-01", dtype="datetime64[D]")
    off = np.array(sorted(PT_DAYS_OFF), dtype="datetime64[D]")
    for count in (0, 1, 5, 23):
        expected = np.busday_offset(days, count, roll="forward", holidays=off).tolist()
        assert [lab.add_working_days(day, count) for day in days.tolist()] == expected


def test_days_between_are_numpy_s_busday_count(lab: WorkCalendar) -> None:
    off = np.array(sorted(PT_DAYS_OFF), dtype="datetime64[D]")
    chance = np.random.default_rng(2026)
    starts = np.datetime64("2026-01-01") + chance.integers(0, 700, 500)
    ends = starts + chance.integers(0, 300, 500)
    expected = np.busday_count(starts, ends, holidays=off).tolist()
    assert [
        lab.working_days_between(start, end) for start, end in zip(starts.tolist(), ends.tolist(), strict=True)
    ] == expected


@pytest.mark.parametrize(
    ("zone", "days_off"),
    [("America/New_York", US_DAYS_OFF), ("Europe/Lisbon", PT_DAYS_OFF)],
    ids=["US", "PT"],
)
def test_two_years_of_hours_pass_as_pandas_custom_business_hour(zone: str, days_off: frozenset[date]) -> None:
    """The 400 spans of up to 37 working days lie over both clock changes and every holiday of 2026 and 2027."""
    calendar = WorkCalendar(zone, WEEK, days_off)
    chance = np.random.default_rng(417)
    for minute, hours in zip(chance.integers(0, 2 * 525_600, 400), chance.integers(1, 300, 400), strict=True):
        start = pd.Timestamp("2026-01-01", tz=zone) + timedelta(minutes=int(minute))
        step = pd.offsets.CustomBusinessHour(
            n=int(hours), start=["08:00", "13:00"], end=["12:00", "17:00"], holidays=sorted(days_off)
        )
        end = (start + step).to_pydatetime()
        assert calendar.minutes_between(start.to_pydatetime(), end) == 60 * hours
        reached = calendar.add_minutes(start.to_pydatetime(), int(60 * hours))
        assert calendar.minutes_between(reached, end) == calendar.minutes_between(end, reached) == 0


@pytest.mark.parametrize("zone", ["Europe/Lisbon", "America/New_York", "Australia/Lord_Howe", "Asia/Kathmandu"])
@pytest.mark.parametrize("spans", [DAY, NIGHT], ids=["day", "night"])
def test_every_minute_of_a_year_counted_one_by_one_in_any_zone(zone: str, spans: tuple[Span, ...]) -> None:
    """Night spans hold the lost and the repeated hour, whole or half; no holiday library takes part here."""
    calendar = WorkCalendar(zone, (spans,) * 7, frozenset({date(2026, 5, 1)}))
    instants = pd.date_range("2026-01-01", "2027-01-01", freq="min", tz="UTC", inclusive="left")
    local = instants.tz_convert(zone)
    wall = local.hour * 60 + local.minute
    is_open = np.zeros(len(local), dtype=bool)
    for start, end in spans:
        first, last = start.hour * 60 + start.minute, (end.hour * 60 + end.minute) or 1_440
        is_open |= (wall >= first) & (wall < last)
    is_open &= ~((local.month == 5) & (local.day == 1))
    worked = np.concatenate([[0], np.cumsum(is_open)])
    chance = np.random.default_rng(7)
    places = np.concatenate([chance.integers(0, len(worked), 400), [0, len(worked) - 1]])
    begin = datetime(2026, 1, 1, tzinfo=UTC)
    for place in places.tolist():
        assert calendar.minutes_between(begin, begin + timedelta(minutes=place)) == worked[place]


def test_a_day_of_a_clock_change_is_as_long_as_it_really_was() -> None:
    """Clocks went forward at 01:00 on 29 March 2026 and back at 02:00 on 25 October 2026 (tz database, Lisbon)."""
    always_open = WorkCalendar("Europe/Lisbon", (((time(0), time(0)),),) * 7)
    assert always_open.minutes_of(date(2026, 3, 29)) == 23 * 60
    assert always_open.minutes_of(date(2026, 3, 30)) == 24 * 60
    assert always_open.minutes_of(date(2026, 10, 25)) == 25 * 60
