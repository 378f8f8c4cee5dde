"""What holds of every walk into the future: who is worked on when, on which days, and what the same luck keeps."""

import heapq
from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import ArrayLike

from app.trade import OutOfRange, queueing
from app.trade.queueing import Clock, Jobs, Stage, chance_by, costliest, percentiles, simulate, simulate_stays
from app.trade.queueing.line import starts
from app.trade.worktime import Span, WorkCalendar

LISBON = ZoneInfo("Europe/Lisbon")
DAY: tuple[Span, ...] = ((time(8), time(12)), (time(13), time(17)))
CHRISTMAS = date(2026, 12, 25)
LAB = WorkCalendar("Europe/Lisbon", (DAY,) * 5 + ((), ()), frozenset({CHRISTMAS}))
NIGHTS = WorkCalendar("Europe/Lisbon", (((time(0), time(6)), (time(21, 30), time(0))),) * 7)
ALWAYS = Clock(WorkCalendar("UTC", (((time(0), time(0)),),) * 7), datetime(2026, 1, 1, tzinfo=UTC))

steady = settings(derandomize=True, deadline=None, max_examples=60)
chance = np.random.default_rng(11)
OWN = chance.gamma(2, 30, 200).round()


def waiting(count: int, *, order: ArrayLike | None = None, free_at: ArrayLike | None = None, steps: int = 1) -> Jobs:
    """Pairs that go the first `steps` stages, all there now unless told."""
    none = np.zeros(count)
    here, line = none if free_at is None else free_at, none if order is None else order
    return Jobs(np.tile(np.arange(steps), (count, 1)), none, here, line)


def once(stages: Sequence[Stage], jobs: Jobs, clock: Clock = ALWAYS) -> list[float]:
    """Of stages where nothing is left to chance."""
    return [float(minutes) for minutes in simulate(stages, jobs, clock, runs=1, seed=0)[0]]


def a_lab() -> list[Stage]:
    return [
        Stage(2, OWN, floor=OWN * 3, back=0.2, back_minutes=OWN * 4),
        Stage(0, OWN * 20, working=False),
        Stage(3, OWN, closed_until=[600.0]),
    ]


def its_pairs(count: int = 40) -> Jobs:
    route = np.array([[0, 1, 2], [0, 2, -1], [1, 2, -1], [2, -1, -1]])[np.arange(count) % 4]
    free_at = np.where(np.arange(count) % 5 == 0, 4_000.0, 0.0)
    return Jobs(route, np.arange(count) % 7 * 30.0 * (free_at == 0), free_at, np.arange(count) % 6)


def test_one_after_the_other_at_a_bench_for_one() -> None:
    assert once([Stage(1, [30])], waiting(3)) == [30, 60, 90]
    assert once([Stage(2, [30])], waiting(3)) == [30, 30, 60]


def test_where_nobody_waits_all_go_on_together() -> None:
    assert once([Stage(0, [30])], waiting(3)) == [30, 30, 30]


def test_who_is_due_first_is_worked_first_but_nothing_begun_is_laid_aside() -> None:
    """The rush comes at minute 10; two are in line, one of them begun."""
    assert once([Stage(1, [30])], waiting(3, order=[1, 1, 0], free_at=[0, 0, 10])) == [30, 90, 60]


def test_a_bench_does_not_stand_idle_for_someone_still_to_come() -> None:
    assert once([Stage(1, [30])], waiting(2, order=[0, 1], free_at=[60, 0])) == [90, 30]


def test_a_rush_makes_those_behind_it_later_by_its_own_work_and_those_before_it_not_at_all() -> None:
    plain = simulate([Stage(1, [25])], waiting(9, order=[*range(1, 9), 99]), ALWAYS, runs=1, seed=0)[0]
    rushed = simulate([Stage(1, [25])], waiting(9, order=[*range(1, 9), 3.5]), ALWAYS, runs=1, seed=0)[0]
    assert (rushed - plain).tolist() == [0, 0, 0, 25, 25, 25, 25, 25, -125]


@steady
@given(st.data())
def test_the_line_is_that_of_a_plain_walk_from_one_event_to_the_next(data: st.DataObject) -> None:
    count = data.draw(st.sampled_from([1, 2, 7, 65, 130]))
    numbers = st.lists(st.integers(0, 15 * count), min_size=count, max_size=count)
    comes, takes = np.array(data.draw(numbers)), np.array(data.draw(numbers))
    order, there = np.array(data.draw(numbers)) % 4, data.draw(st.lists(st.integers(0, 90), min_size=1, max_size=4))
    ours = starts(comes[None] * 1.0, takes[None] * 1.0, order, np.array(there, dtype=float))
    assert ours[0].tolist() == plain_walk(comes.tolist(), takes.tolist(), order.tolist(), there)


def plain_walk(comes: list[int], takes: list[int], order: list[int], there: list[int]) -> list[int]:
    """When each is started: the textbook's events with two heaps, one job at a time."""
    coming = sorted((at, job) for job, at in enumerate(comes))
    free, line, started = sorted(there), list[tuple[int, int, int]](), dict[int, int]()
    while len(started) < len(comes):
        now = free[0] if line else max(free[0], coming[0][0])
        while coming and coming[0][0] <= now:
            at, job = coming.pop(0)
            heapq.heappush(line, (order[job], at, job))
        _, at, job = heapq.heappop(line)
        started[job] = max(now, at)
        heapq.heapreplace(free, started[job] + takes[job])
    return [started[job] for job in range(len(comes))]


def test_a_server_that_is_away_comes_back_when_it_is_there() -> None:
    assert once([Stage(2, [30], closed_until=[100.0])], waiting(4)) == [30, 60, 90, 120]
    assert once([Stage(1, [30], closed_until=[100.0])], waiting(1)) == [130]


def test_what_is_sent_back_leaves_later_by_what_that_cost_and_takes_its_server_twice() -> None:
    assert once([Stage(1, [30], back=1.0, back_minutes=[200])], waiting(2)) == [230, 290]
    assert once([Stage(1, [30], back=1.0)], waiting(2)) == [60, 120]


def test_the_chance_of_a_send_back_is_the_part_of_runs_with_one() -> None:
    leaves = simulate([Stage(0, [30], back=0.1, back_minutes=[200])], waiting(5), ALWAYS, runs=2_000, seed=4)
    assert (leaves > 30).mean() == pytest.approx(0.1, abs=4 * (0.1 * 0.9 / 10_000) ** 0.5)


def test_work_whole_stay_send_back_and_its_cost_have_nothing_to_do_with_each_other() -> None:
    """Each is one of two, at even chances: whoever leaves at 0 was quick in both, whoever leaves at 200 stayed long."""
    stage = Stage(1, [0, 100], floor=[0, 200], back=0.5, back_minutes=[1_000, 5_000])
    leaves = simulate([stage], waiting(1), ALWAYS, runs=10_000, seed=8)[:, 0]
    for at, part in ((0, 1 / 4), (100, 1 / 4), (200, 1 / 2)):
        for cost, of_it in ((0, 1 / 2), (1_000, 1 / 4), (5_000, 1 / 4)):
            expected = part * of_it
            within = 4 * (expected * (1 - expected) / 10_000) ** 0.5
            assert (leaves == at + cost).mean() == pytest.approx(expected, abs=within)


def test_a_parked_pair_waits_until_it_can_go_on_and_stays_no_shorter_than_others() -> None:
    parked = Jobs([[0], [0]], waited=[100, 0], free_at=[500, 500], order=[0, 0])
    assert once([Stage(2, [30])], parked) == [530, 530]
    # A whole stay of 700: the one came 100 minutes ago, the other has yet to come.
    assert once([Stage(2, [30], floor=[700])], parked) == [600, 1200]
    assert once([Stage(0, [700], working=False)], parked) == [600, 1200]


@steady
@given(st.integers(1, 400), st.integers(0, 99))
def test_what_has_waited_stays_for_a_time_that_was_longer(waited: int, seed: int) -> None:
    jobs = Jobs([[0]], [waited], [0], [0])
    leaves = simulate([Stage(0, OWN, working=False)], jobs, ALWAYS, runs=50, seed=seed)[:, 0] + waited
    longer = OWN[waited < OWN]
    if len(longer):
        assert set(leaves) <= set(longer)
    else:  # it goes on as the twenty longest of 200 did beyond the one before them
        ahead = np.sort(OWN)[-20:] - np.sort(OWN)[-21]
        assert set(leaves) <= set((waited + ahead).tolist())


@steady
@given(st.integers(1, 4), st.integers(0, 99))
def test_nobody_leaves_before_coming_and_being_worked(servers: int, seed: int) -> None:
    shortest, free_at = OWN.min(), np.arange(20) * 13.0
    stages = [Stage(servers, OWN, floor=OWN), Stage(servers, OWN)]
    first = simulate(stages[:1], waiting(20, free_at=free_at), ALWAYS, runs=10, seed=seed)
    both = simulate(stages, waiting(20, free_at=free_at, steps=2), ALWAYS, runs=10, seed=seed)
    assert (first >= free_at + shortest).all()
    assert (both >= first + shortest).all()


@steady
@given(st.integers(1, 4), st.integers(0, 99))
def test_with_more_servers_nobody_is_later_who_is_worked_in_the_order_of_coming(servers: int, seed: int) -> None:
    """Not so where the due go first: what a second server begins may stand in the way of a rush that is to come."""
    jobs = waiting(30, free_at=np.arange(30) * 10.0)
    few = simulate([Stage(servers, OWN)], jobs, ALWAYS, runs=20, seed=seed)
    more = simulate([Stage(servers + 1, OWN)], jobs, ALWAYS, runs=20, seed=seed)
    assert (more <= few).all()
    assert more.mean() < few.mean()


def test_the_same_luck_meets_whoever_asks_again_with_more_runs_more_jobs_or_in_portions(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    clock = Clock(LAB, datetime(2026, 12, 22, 10, tzinfo=UTC))
    whole = simulate(a_lab(), its_pairs(), clock, runs=200, seed=5)
    assert (simulate(a_lab(), its_pairs(), clock, runs=200, seed=5) == whole).all()
    assert (simulate(a_lab(), its_pairs(), clock, runs=70, seed=5) == whole[:70]).all()
    assert (simulate(a_lab(), its_pairs(), clock, runs=200, seed=6) != whole).mean() > 0.9
    # The last in every line changes nothing for those before, though it draws, too.
    route, waited, free_at, order = its_pairs()
    last = Jobs(np.vstack([route, [2, -1, -1]]), np.append(waited, 0), np.append(free_at, 90_000), np.append(order, 9))
    assert (simulate(a_lab(), last, clock, runs=200, seed=5)[:, :-1] == whole).all()
    monkeypatch.setattr(queueing, "CELLS", 64 * 40)
    assert (simulate(a_lab(), its_pairs(), clock, runs=200, seed=5) == whole).all()


def test_work_goes_on_after_the_weekend_and_the_holiday_and_parcels_travel_through_them() -> None:
    """It is Friday, 16:00, a week before Christmas."""
    clock = Clock(LAB, datetime(2026, 12, 18, 16, tzinfo=LISBON))
    hours = [60 * hours for hours in (1, 2, 33, 41)]
    worked = [clock_day(once([Stage(1, [minutes])], waiting(1), clock)[0]) for minutes in hours]
    assert worked == ["18 Dec 17:00", "21 Dec 09:00", "24 Dec 17:00", "28 Dec 17:00"]
    travel = [Stage(1, [120]), Stage(0, [24 * 60], working=False)]
    assert clock_day(once(travel, waiting(1, steps=2), clock)[0]) == "22 Dec 09:00"


def clock_day(minutes: float) -> str:
    return f"{datetime(2026, 12, 18, 16, tzinfo=UTC) + timedelta(minutes=minutes):%d %b %H:%M}"


@pytest.mark.parametrize("calendar", [LAB, NIGHTS], ids=["days", "nights"])
@pytest.mark.parametrize(
    "at",
    [
        datetime(2026, 3, 27, 7, 13, tzinfo=UTC),  # clocks go forward on the 29th
        datetime(2026, 10, 24, 22, 30, tzinfo=UTC),  # and back in this night
        datetime(2026, 12, 25, 9, 0, 30, tzinfo=UTC),
    ],
)
def test_a_clock_says_what_the_calendar_says_also_at_the_ends_of_spans(calendar: WorkCalendar, at: datetime) -> None:
    clock = Clock(calendar, at)
    edges = [edge for span in calendar.open_spans(at, at + timedelta(days=9)) for edge in span]
    for instant in [*edges, *(edge + timedelta(minutes=minute) for edge in edges for minute in (-1, 1, 45))]:
        passed = (instant - at) / timedelta(minutes=1)
        if passed >= 0:
            assert int(clock.to_working(passed) + 1e-9) == calendar.minutes_between(at, instant)
    for minutes in (0, 1, 59, 60, 240, 241, 480, 481, 2_400, 200_000):
        reached = at + timedelta(minutes=float(clock.to_clock(minutes)))
        assert reached == calendar.add_minutes(at, minutes)
        assert clock.to_working(clock.to_clock(minutes)) == pytest.approx(minutes)


@steady
@given(st.integers(0, 2 * 525_600), st.integers(0, 400_000))
def test_a_clock_says_what_the_calendar_says_from_any_minute(begin: int, minutes: int) -> None:
    at = datetime(2025, 1, 1, tzinfo=UTC) + timedelta(minutes=begin)
    assert at + timedelta(minutes=float(Clock(LAB, at).to_clock(minutes))) == LAB.add_minutes(at, minutes)
    assert Clock(LAB, at).to_working(minutes) == LAB.minutes_between(at, at + timedelta(minutes=minutes))


def test_mean_stays_add_up_and_name_the_costliest_stage() -> None:
    clock = Clock(LAB, datetime(2026, 12, 22, 10, tzinfo=UTC))
    jobs = its_pairs()
    leaves, stays = simulate_stays(a_lab(), jobs, clock, runs=100, seed=3)
    assert (leaves == simulate(a_lab(), jobs, clock, runs=100, seed=3)).all()
    assert stays.sum(axis=1) + jobs.free_at == pytest.approx(leaves.mean(axis=0), rel=1e-5)
    assert (stays[3::4, :2] == 0).all()
    assert costliest(stays)[3::4].tolist() == [2] * 10


def test_spans_and_chances_are_those_of_the_runs() -> None:
    leaves = np.array([[10, 5], [20, 5], [30, 5], [40, 5]], dtype=np.float32)
    assert percentiles(leaves, (50, 100)).tolist() == [[25, 5], [40, 5]]
    assert percentiles(leaves).shape == (3, 2)
    assert chance_by(leaves, 20).tolist() == [0.5, 1]
    assert chance_by(leaves, [30, 4]).tolist() == [0.75, 0]


def test_no_jobs_leave_at_no_time() -> None:
    assert simulate([Stage(1, OWN)], Jobs(np.zeros((0, 1)), [], [], []), ALWAYS, runs=3, seed=0).shape == (3, 0)


ONE = Jobs([[0]], [0], [0], [0])


@pytest.mark.parametrize(
    ("stage", "jobs", "runs", "field"),
    [
        (Stage(-1, [1]), ONE, 1, "servers"),
        (Stage(1, [-1.0]), ONE, 1, "minutes"),
        (Stage(1, [1], floor=[np.inf]), ONE, 1, "floor"),
        (Stage(1, [1], back=1.1), ONE, 1, "back"),
        (Stage(1, [1], back_minutes=[np.nan]), ONE, 1, "back_minutes"),
        (Stage(1, [1], closed_until=[5, 5]), ONE, 1, "closed_until"),
        (Stage(1, [1]), ONE._replace(route=[[1]]), 1, "route"),
        (Stage(1, [1]), ONE._replace(route=[[-1]]), 1, "route"),
        (Stage(1, [1]), ONE._replace(route=[[0, 0]]), 1, "route"),
        (Stage(1, [1]), ONE._replace(route=[[0], [0]]), 1, "route"),
        (Stage(1, [1]), ONE._replace(waited=[-1]), 1, "waited"),
        (Stage(1, [1]), ONE._replace(free_at=[0, 0]), 1, "free_at"),
        (Stage(1, [1]), ONE._replace(order=[np.nan]), 1, "order"),
        (Stage(1, [1]), ONE, 0, "runs"),
    ],
)
def test_what_can_t_be_a_lab_is_refused_by_name(stage: Stage, jobs: Jobs, runs: int, field: str) -> None:
    with pytest.raises(OutOfRange) as refused:
        simulate([stage], jobs, ALWAYS, runs=runs, seed=0)
    assert refused.value.field.endswith(field)
    assert "it has to be" in str(refused.value)


def test_a_clock_knows_no_time_before_its_instant() -> None:
    for wrong in (-1, np.nan, np.inf):
        with pytest.raises(OutOfRange):
            ALWAYS.to_clock([5, wrong])
