"""What the lab's hours make of time: minutes at benches, promised days, and how both are said."""

from datetime import UTC, date, datetime, time, timedelta
from time import perf_counter
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.trade import OutOfRange
from app.trade.worktime import Span, WorkCalendar, words

LISBON = ZoneInfo("Europe/Lisbon")
LONG: tuple[Span, ...] = ((time(8), time(12)), (time(12, 30), time(17, 30)))
SHORT: tuple[Span, ...] = ((time(8), time(13)),)
CHRISTMAS = date(2026, 12, 25)
LAB = WorkCalendar("Europe/Lisbon", (LONG,) * 4 + (SHORT, (), ()), frozenset({CHRISTMAS}))

steady = settings(derandomize=True, deadline=None)
BEGIN = datetime(2025, 1, 1, tzinfo=UTC)
instants = st.timedeltas(timedelta(), timedelta(days=1_200)).map(lambda since: BEGIN + since)
days = st.dates(date(2025, 1, 1), date(2028, 3, 1))
edges = st.lists(st.integers(0, 1_439), max_size=6, unique=True).map(sorted)


@st.composite
def calendars(draw: st.DrawFn) -> WorkCalendar:
    hours = [_spans(draw(edges)) for _ in range(7)]
    hours[draw(st.integers(0, 6))] = LONG
    off = frozenset(draw(st.lists(st.dates(date(2026, 1, 1), date(2026, 12, 31)), max_size=5)))
    zones = ["Europe/Lisbon", "America/Santiago", "Australia/Lord_Howe", "Asia/Beirut", "UTC"]
    return WorkCalendar(draw(st.sampled_from(zones)), tuple(hours), off)


def _spans(minutes: list[int]) -> tuple[Span, ...]:
    times = [time(*divmod(minute, 60)) for minute in minutes]
    return tuple(zip(times[::2], times[1::2], strict=False))


def local(day: int, hour: int, minute: int = 0) -> datetime:
    """In the week of Monday 23 November 2026."""
    return datetime(2026, 11, 22 + day, hour, minute, tzinfo=LISBON)


def test_a_break_and_a_night_are_not_working_time() -> None:
    assert LAB.minutes_between(local(1, 11), local(1, 13)) == 90
    assert LAB.minutes_between(local(1, 17), local(2, 9)) == 30 + 60


def test_a_weekend_is_not_working_time() -> None:
    assert LAB.minutes_between(local(5, 12), local(8, 9)) == 60 + 60


def test_a_day_off_is_not_working_time() -> None:
    assert LAB.minutes_between(datetime(2026, 12, 25, tzinfo=UTC), datetime(2026, 12, 26, tzinfo=UTC)) == 0
    assert LAB.minutes_of(CHRISTMAS) == 0


def test_seconds_that_do_not_fill_a_minute_are_not_counted() -> None:
    assert LAB.minutes_between(local(1, 9), local(1, 9, 1) + timedelta(seconds=59)) == 1


def test_an_end_before_its_start_took_no_time() -> None:
    assert LAB.minutes_between(local(2, 9), local(1, 9)) == 0


def test_the_same_instant_told_in_another_zone_is_the_same() -> None:
    assert LAB.minutes_between(local(1, 9).astimezone(UTC), local(1, 10).astimezone(ZoneInfo("Asia/Tokyo"))) == 60


def test_the_last_hour_before_closing_ends_at_closing() -> None:
    assert LAB.add_minutes(local(1, 16, 30), 60) == local(1, 17, 30)
    assert LAB.add_minutes(local(1, 16, 30), 61) == local(2, 8, 1)


def test_time_begun_while_closed_starts_at_the_next_opening() -> None:
    assert LAB.add_minutes(local(6, 11), 15) == local(8, 8, 15)
    assert LAB.add_minutes(local(6, 11), 0) == local(6, 11)


def test_a_lab_open_until_midnight_works_through_it() -> None:
    late = WorkCalendar("Europe/Lisbon", (((time(0), time(2)), (time(22), time(0))),) * 7)
    assert late.minutes_between(local(1, 21), local(2, 3)) == 4 * 60
    assert late.standard_day_minutes() == 4 * 60


def test_spans_that_a_clock_change_skips_are_not_counted_twice() -> None:
    """At 01:00 on 29 March 2026 the clock went to 02:00, and the break with it: 23 hours remained, all of them open."""
    night = WorkCalendar("Europe/Lisbon", (((time(0), time(1, 30)), (time(2), time(0))),) * 7)
    assert night.minutes_of(date(2026, 3, 28)) == 23 * 60 + 30
    assert night.minutes_of(date(2026, 3, 29)) == 23 * 60


@steady
@given(calendars(), instants, instants, instants)
def test_working_time_adds_up(calendar: WorkCalendar, a: datetime, b: datetime, c: datetime) -> None:
    a, b, c = sorted((a, b, c))
    whole = calendar.minutes_between(a, c)
    assert whole - 1 <= calendar.minutes_between(a, b) + calendar.minutes_between(b, c) <= whole


@steady
@given(calendars(), instants, instants)
def test_working_time_is_never_longer_than_time(calendar: WorkCalendar, a: datetime, b: datetime) -> None:
    a, b = sorted((a, b))
    assert 0 <= calendar.minutes_between(a, b) <= (b - a).total_seconds() / 60


@steady
@given(calendars(), instants, st.integers(0, 200_000))
def test_the_instant_reached_is_as_far_as_was_asked_and_no_later(
    calendar: WorkCalendar, start: datetime, minutes: int
) -> None:
    reached = calendar.add_minutes(start, minutes)
    assert reached >= start
    assert calendar.minutes_between(start, reached) == minutes
    if minutes:
        assert calendar.minutes_between(start, reached - timedelta(microseconds=1)) == minutes - 1


@settings(steady, max_examples=25)
@given(calendars(), instants, st.timedeltas(timedelta(), timedelta(days=500)))
def test_open_spans_hold_all_working_time_and_no_other(
    calendar: WorkCalendar, start: datetime, lasts: timedelta
) -> None:
    spans = calendar.open_spans(start, start + lasts)
    edges = [start, *(edge for span in spans for edge in span), start + lasts]
    assert edges == sorted(edges)
    assert all(opens < closes for opens, closes in spans)
    worked = sum(((closes - opens) for opens, closes in spans), timedelta())
    assert calendar.minutes_between(start, start + lasts) <= worked / timedelta(minutes=1)
    assert worked / timedelta(minutes=1) < calendar.minutes_between(start, start + lasts) + 1


@steady
@given(calendars(), days)
def test_a_day_s_minutes_are_those_between_its_midnights(calendar: WorkCalendar, day: date) -> None:
    zone = ZoneInfo(calendar.zone)
    begins = datetime.combine(day, time(), zone).astimezone(UTC)
    ends = datetime.combine(day + timedelta(days=1), time(), zone).astimezone(UTC)
    assert calendar.minutes_of(day) == calendar.minutes_between(begins, ends)
    assert calendar.is_working_day(day) or calendar.minutes_of(day) == 0


@settings(steady, max_examples=25)
@given(calendars(), instants, instants)
def test_what_was_asked_before_does_not_change_an_answer(calendar: WorkCalendar, a: datetime, b: datetime) -> None:
    """The calendar keeps what it has worked out and grows it to the past and the future."""
    fresh = WorkCalendar(calendar.zone, calendar.hours, calendar.days_off)
    calendar.minutes_between(BEGIN - timedelta(days=1_000), BEGIN + timedelta(days=2_000))
    assert calendar == fresh
    assert calendar.minutes_between(a, b) == fresh.minutes_between(a, b)
    assert calendar.working_days_between(a.date(), b.date()) == fresh.working_days_between(a.date(), b.date())


@steady
@given(calendars(), days, st.integers(0, 400))
def test_working_days_added_are_the_days_then_counted(calendar: WorkCalendar, day: date, count: int) -> None:
    reached = calendar.add_working_days(day, count)
    assert calendar.is_working_day(reached)
    assert calendar.working_days_between(day, reached) == count
    assert calendar.working_days_between(reached, day) == -count


@steady
@given(calendars(), days)
def test_the_next_working_day_is_the_first_from_this_one_on(calendar: WorkCalendar, day: date) -> None:
    following = calendar.next_working_day(day)
    between = [day + timedelta(days=n) for n in range((following - day).days)]
    assert calendar.is_working_day(following)
    assert not any(calendar.is_working_day(other) for other in between)


def test_a_promise_over_christmas_skips_it_and_the_weekend() -> None:
    assert LAB.add_working_days(date(2026, 12, 23), 2) == date(2026, 12, 28)


def test_one_day_means_the_most_usual_working_day() -> None:
    assert LAB.standard_day_minutes() == 9 * 60


def test_of_equally_usual_days_the_longest_is_meant() -> None:
    for two_days in ((LONG, SHORT), (SHORT, LONG)):
        assert WorkCalendar("UTC", two_days + ((),) * 5).standard_day_minutes() == 9 * 60


@pytest.mark.parametrize(
    ("minutes", "said"),
    [
        (-3, "0 min"),
        (0, "0 min"),
        (59, "59 min"),
        (60, "1 h"),
        (359, "5 h"),
        (539, "8 h"),
        (540, "1 d"),
        (599, "1 d"),
        (660, "1 d 2 h"),
        (540 * 9 + 480, "9 d 8 h"),
        (540 * 12 + 300, "12 d"),
    ],
)
def test_working_time_is_said_in_days_of_the_lab(minutes: int, said: str) -> None:
    assert words(minutes, 540) == said.replace(" ", "\u00a0")


@steady
@given(st.integers(0, 10**6), st.integers(60, 1_440))
def test_what_is_said_never_breaks_over_a_line(minutes: int, day_minutes: int) -> None:
    assert " " not in words(minutes, day_minutes)


@pytest.mark.parametrize("zone", ["", "Atlantis/Harbour", "Europe", "../etc/passwd", "Europe/Lisbon\0"])
def test_a_zone_nobody_knows_is_refused(zone: str) -> None:
    with pytest.raises(OutOfRange, match="a time zone such as") as refused:
        WorkCalendar(zone, (LONG,) * 7)
    assert refused.value.field == "zone"


@pytest.mark.parametrize(
    "spans",
    [
        ((time(8), time(12)), (time(11), time(17))),
        ((time(13), time(17)), (time(8), time(12))),
        ((time(12), time(8)),),
        ((time(8), time(8)),),
        ((time(20), time(0)), (time(1), time(2))),
    ],
)
def test_spans_that_overlap_or_run_backwards_are_refused(spans: tuple[Span, ...]) -> None:
    with pytest.raises(OutOfRange, match="open spans in order that do not overlap"):
        WorkCalendar("UTC", ((),) * 6 + (spans,))


def test_spans_with_seconds_or_a_zone_of_their_own_are_refused() -> None:
    for start in (time(8, 0, 1), time(8, tzinfo=UTC)):
        with pytest.raises(OutOfRange, match="whole minutes of wall time"):
            WorkCalendar("UTC", (((start, time(12)),),) * 7)


@pytest.mark.parametrize("hours", [(), (LONG,) * 6, ((),) * 7])
def test_a_week_has_seven_days_and_at_least_one_works(hours: tuple[tuple[Span, ...], ...]) -> None:
    with pytest.raises(OutOfRange, match="hours"):
        WorkCalendar("UTC", hours)


def test_nothing_is_counted_backwards() -> None:
    with pytest.raises(OutOfRange, match="count is -1"):
        LAB.add_working_days(CHRISTMAS, -1)
    with pytest.raises(OutOfRange, match="minutes is -1"):
        LAB.add_minutes(local(1, 9), -1)


@pytest.mark.parametrize("year", [1, 1969, 2200, 9999])
def test_a_mistyped_year_is_refused_rather_than_reckoned_for_ages(year: int) -> None:
    with pytest.raises(OutOfRange, match="from 1970 to 2199"):
        LAB.minutes_between(datetime(1, 1, 1, tzinfo=UTC), datetime(year, 12, 31, tzinfo=UTC))
    with pytest.raises(OutOfRange, match="from 1970 to 2199"):
        LAB.next_working_day(date(year, 12, 31))


def test_a_mistyped_million_is_refused_before_anyone_tires_of_waiting() -> None:
    began = perf_counter()
    with pytest.raises(OutOfRange, match="from 1970 to 2199"):
        LAB.add_working_days(CHRISTMAS, 1_000_000)
    with pytest.raises(OutOfRange, match="from 1970 to 2199"):
        LAB.add_minutes(local(1, 9), 1_000_000_000)
    assert perf_counter() - began < 10


def test_an_instant_without_a_zone_is_refused() -> None:
    nine, ten = (local(1, hour).replace(tzinfo=None) for hour in (9, 10))
    for start, end in [(nine, ten), (ten, nine), (nine, nine)]:
        with pytest.raises(TypeError):
            LAB.minutes_between(start, end)
    for minutes in (0, 30):
        with pytest.raises(TypeError):
            LAB.add_minutes(nine, minutes)


def test_the_hour_that_a_clock_shows_twice_is_counted_as_it_passed() -> None:
    """At 02:00 on 25 October 2026 the clock went back to 01:00."""
    always = WorkCalendar("Europe/Lisbon", (((time(0), time(0)),),) * 7)
    before = datetime(2026, 10, 25, 1, 30, tzinfo=LISBON)
    after = datetime(2026, 10, 25, 1, 10, tzinfo=LISBON, fold=1)
    assert always.minutes_between(before, after) == 40
    assert always.minutes_between(after, before) == 0
