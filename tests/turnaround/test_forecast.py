"""What forecasts are made of, and how they are put right: small labs written down by hand."""

from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import numpy as np
import pytest

from app.bench.rules.replay import Step
from app.errors import BadInput
from app.trade.worktime import WorkCalendar
from app.turnaround.rules.forecast.kept import Kept, packed, unpacked
from app.turnaround.rules.forecast.known import FEWEST, Known, Left, Times, Window, know, pair_stays
from app.turnaround.rules.forecast.line import LINE, PLACE, rest
from app.turnaround.rules.forecast.made import Kind, foresee
from app.turnaround.rules.forecast.moved import go_first
from app.turnaround.rules.forecast.odds import chance, day_at
from app.turnaround.rules.forecast.standing import Capacity, Change, Snapshot, Standing
from app.turnaround.rules.forecast.tried import loads, outlook, remedies
from app.turnaround.rules.forecast.walked import Walked, arrival, standing
from app.turnaround.rules.forecast.wished import Tried, read_tried

MONDAY = datetime(2027, 1, 11, 8, tzinfo=UTC)
CALENDAR = WorkCalendar("UTC", tuple(((time(8), time(17)),) if day < 5 else () for day in range(7)))
DAY = 540


def known(**places: Times) -> Known:
    """Stages as given; every other place has been left by nobody."""
    holds = {place: np.array([1.0, 2.0, 4.0]) * DAY for place in LINE if place.startswith("held_")}
    return Known({place: places.get(place, Times()) for place in LINE}, holds, {}, 0)


def taking(minutes: float, a_day: float = 1000.0, people: int = 2, **more: Any) -> Times:
    """A bench whose stays lie about so many working minutes."""
    return Times(np.linspace(0.5, 1.5, 100) * minutes, a_day, people, **more)


def pair(number: int, *places: str, **more: Any) -> Standing:
    usual: dict[str, Any] = {"since": MONDAY, "due_on": date(2027, 1, 20), "steps": 5}
    return Standing(number, f"P{number}", 1, "cast", places, **usual | more)


def lab(pairs: list[Standing], **places: Times) -> Snapshot:
    return Snapshot(MONDAY, CALENDAR, known(**places), tuple(pairs))


def likely(snapshot: Snapshot) -> list[date]:
    return [each.likely for each in foresee(snapshot, {}, 200, seed=1)]


# What the last days say


def entries(*rows: tuple[int, int, str, float, float, float, bool]) -> Left:
    """Pair, move, place, minutes, entered, left, and whether it went on (else it was sent back for rework)."""
    pairs, moves, places, minutes, entered, at, on = zip(*rows, strict=True)
    count = len(rows)
    return Left(
        np.array(pairs), np.array(moves), np.array([PLACE[place] for place in places]), np.array(minutes),
        np.array(entered), np.array(at), np.array(on), ~np.array(on), np.zeros(count, bool), np.ones(count, int),
    )  # fmt: skip


def test_a_pair_has_stayed_as_long_as_its_later_side() -> None:
    together = [(1, 10, "press", 60.0, 0.0, 60.0, True), (1, 10, "press", 40.0, 20.0, 60.0, True)]
    apart = [(2, 11, "press", 30.0, 0.0, 30.0, True), (2, 12, "press", 90.0, 0.0, 90.0, True)]
    stays = pair_stays(entries(*together, *apart))
    assert sorted(zip(stays.pair.tolist(), stays.minutes.tolist(), strict=True)) == [(1, 40.0), (2, 90.0)]


def test_sending_back_is_a_share_of_the_work_and_costs_what_passed_until_it_was_done_again() -> None:
    window = Window(MONDAY, CALENDAR)
    done = [(number, number, "cover", 60.0, -9000.0, -8000.0 + number, True) for number in range(3)]
    back = (9, 20, "cover", 50.0, -10_080.0, -10_080.0, False)
    again = (9, 21, "cover", 60.0, -10_080.0 + 100, -10_080.0 + 240, True)
    cover = know(entries(*done, back, again), {}, window).places["cover"]
    assert cover.back == pytest.approx(1 / 5)
    assert cover.back_minutes.tolist() == [240.0]


def test_stays_of_busier_days_are_told_as_with_as_many_ahead_as_now() -> None:
    """Each waits 60 minutes for every pair that stood there when it came."""
    rows, at = [], -40_000.0
    for number in range(80):
        ahead = number % 8
        if not ahead:
            at += 1440
        rows.append((number, number, "press", 60.0 * (ahead + 1), at + ahead, at + 60.0 * (ahead + 1), True))
    window = Window(MONDAY, CALENDAR)
    few = know(entries(*rows), {}, window).places["press"].stays
    many = know(entries(*rows), {}, window, {"press": np.full(8, -1.0)}).places["press"].stays
    assert np.median(few) < 100
    assert np.median(many) > 400


def test_a_route_ends_at_the_clinic_and_trims_there_where_the_clinic_does() -> None:
    route = ("check_in", "press", "cover", "inspect", "send", "receive", "trim", "dispense", "wear_in")
    assert rest(route, "cover", trims_at_clinic=True) == ("cover", "inspect", "send", "receive", "trim_there")
    assert rest(route, "dispense", trims_at_clinic=True) == ()
    in_the_lab = ("press", "trim", "send", "receive", "dispense")
    assert rest(in_the_lab, "press", trims_at_clinic=True) == ("press", "trim", "send", "receive")


# Where a pair stood


def test_a_pair_stands_where_it_was_known_to_stand_and_a_later_promise_was_not_known() -> None:
    def step(number: int, act: str, at: datetime, was: str | None, to: str | None, **facts: Any) -> Any:
        whole = {"id": number, "act": act, "from_stage": was, "to_stage": to, "sides": "LR", "facts": facts}
        values: dict[str, Any] = dict.fromkeys(Step._fields) | {"done_at": at} | whole
        return at, Step(**values)

    hours = [MONDAY + timedelta(hours=hour) for hour in range(5)]
    route = ["check_in", "press", "cover", "dispense", "wear_in"]
    steps = [
        step(1, "order", hours[0], None, "check_in", route=route),
        step(2, "advance", hours[1], "check_in", "press"),
        step(3, "promise", hours[2], "press", None, day="2027-02-01"),
        step(4, "advance", hours[3], "press", "cover"),
        step(5, "advance", hours[4], "cover", "dispense"),
    ]
    facts: dict[str, Any] = {"pair_id": 1, "code": "P1", "clinic_id": 1, "way": "cast", "trims_at_clinic": False}
    days: dict[str, Any] = {"wanted_on": None, "promised_on": date(2027, 2, 1), "fitting_on": None}
    walked = Walked(**facts, **days, started_at=hours[0], rush=False, steps=steps, holds={})

    early = standing(walked, hours[1] + timedelta(minutes=30))
    assert early is not None
    assert (early.stage, early.since, early.promised_on) == ("press", hours[1], None)
    late = standing(walked, hours[3])
    assert late is not None
    assert (late.places, late.promised_on) == (("cover",), date(2027, 2, 1))
    assert standing(walked, hours[4]) is None, "it is at its clinic"
    assert arrival(walked, hours[1]) == hours[4]


# When it comes


def test_what_is_parked_comes_later_than_what_is_not_and_sooner_the_longer_it_was() -> None:
    free = pair(1, "press")
    parked = pair(2, "press", waits_on="supplier", held_since=MONDAY)
    nearly = pair(3, "press", waits_on="supplier", held_since=MONDAY - timedelta(days=5))
    on = likely(lab([free, parked, nearly], press=taking(200)))
    assert on[0] < on[2] < on[1]


def test_a_stage_that_can_do_two_a_day_keeps_the_tenth_for_a_week() -> None:
    pairs = [pair(number, "press", due_on=date(2027, 1, 12 + number)) for number in range(10)]
    full = likely(lab(pairs, press=taking(60, a_day=2.0, people=1)))
    assert full == sorted(full)
    assert (full[0], full[9]) == (date(2027, 1, 11), date(2027, 1, 15))
    assert set(likely(lab(pairs, press=taking(60)))) == {date(2027, 1, 11)}


def test_capacity_that_was_set_comes_before_what_the_last_days_show() -> None:
    pairs = [pair(number, "press") for number in range(10)]
    own = lab(pairs, press=taking(60))
    chosen = Snapshot(MONDAY, CALENDAR, own.known, own.standing, {"press": Capacity(a_day=2.0)})
    assert max(likely(chosen)) > max(likely(own))


def test_with_fewer_stays_than_needed_the_routes_standard_days_stand_and_say_so() -> None:
    few = Times(np.full(FEWEST - 1, 60.0), 5.0, 1)
    (told,) = foresee(lab([pair(1, "press", promised_on=date(2027, 1, 12))], press=few), {}, 100, seed=1)
    assert told.standard
    assert told.chance is None
    assert told.half == told.nearly == date(2027, 1, 13), "a fifth of ten working days is left of its five stages"


def test_the_stage_that_costs_most_is_named_and_a_chance_is_of_the_promised_day() -> None:
    promised = pair(1, "press", "cover", promised_on=date(2027, 1, 13))
    (told,) = foresee(lab([promised], press=taking(100), cover=taking(1500)), {}, 400, seed=1)
    assert told.costs == "cover"
    assert told.half < told.likely <= told.nearly
    assert told.chance is not None
    assert 10 < told.chance < 90


def test_a_day_and_its_chance_are_read_off_the_same_hundred_days() -> None:
    row = np.array([date(2027, 1, 11).toordinal()] * 40 + [date(2027, 1, 12).toordinal()] * 60)
    assert chance(row, date(2027, 1, 11)) == 40
    assert (day_at(row, 40), day_at(row, 41)) == (date(2027, 1, 11), date(2027, 1, 12))


# What would be if


def crowded(count: int = 12) -> Snapshot:
    """As many at press as it can do in six days, each promised for the fourth."""
    friday = MONDAY - timedelta(days=3)
    pairs = [pair(n, "press", since=friday + timedelta(minutes=n), promised_on=date(2027, 1, 14)) for n in range(count)]
    return lab(pairs, press=taking(60, a_day=2.0, people=1), cover=taking(60))


def test_moving_the_last_pair_forward_brings_it_and_makes_each_it_passes_wait() -> None:
    moved = go_first(crowded(), 11, {}, {})
    assert day_at(moved.after, 85) < day_at(moved.before, 85)
    assert (moved.others, moved.later) == (11, 11), "it goes past all of them"
    assert moved.most_minutes > 4 * 60
    assert moved.harmed, "a promise that could just be kept can't be now"


def test_a_person_more_keeps_more_promises_and_one_away_fewer() -> None:
    as_it_is = outlook(crowded(), [], {}, {}, 10)
    more = outlook(crowded(), [], {"press": Change(more=1)}, {}, 10)
    seen = outlook(crowded(), [], {}, {}, 10, {"press"})
    away = outlook(crowded(), [], {"press": Change(away=1, away_days=3)}, {}, 10, {"press"})
    assert away.kept < seen.kept
    assert as_it_is.kept < more.kept <= as_it_is.promised == 12
    assert as_it_is.first is not None
    assert as_it_is.first.day == date(2027, 1, 14)
    assert more.first is None


def test_the_plan_names_the_stage_where_a_person_more_helps_and_the_promises_to_make_anew() -> None:
    snapshot = crowded()
    now = outlook(snapshot, [], {}, {}, 10)
    (best, *_) = remedies(snapshot, [], Tried(), {}, now)
    assert best.place == "press"
    assert best.kept > 1
    anew = now.doubtful(date(2027, 1, 14), 85)
    assert {each.code for each, _, _ in anew} <= {each.code for each in snapshot.standing}
    assert all(odds < 85 and day > date(2027, 1, 14) for _, odds, day in anew)
    assert [(load.place, load.here) for load in loads(snapshot)] == [("press", 12), ("cover", 0)]


def test_what_is_typed_into_what_if_is_read_or_said_at_its_field() -> None:
    tried = read_tried({"more.press": "+1", "away.cover": "2", "days": "5", "rush": "20", "way": "direct"})
    assert dict(tried.changes) == {"press": Change(more=1), "cover": Change(away=2, away_days=5)}
    assert (tried.rush, tried.way, tried.by_person) == (20, "direct", frozenset({"cover"}))
    with pytest.raises(BadInput) as refusal:
        read_tried({"more.press": "many", "days": "0", "way": "teleport"})
    assert set(refusal.value.fields) == {"more.press", "days", "way"}


# Kept


def test_the_lab_that_is_kept_is_the_lab_that_was_foretold() -> None:
    parked = pair(3, "cover", waits_on="payer", held_since=MONDAY - timedelta(days=1), started_at=MONDAY, rush=True)
    times = taking(60, a_day=2.0, people=1, back=0.1, back_minutes=np.array([30.0]))
    snapshot = lab([pair(1, "press", "cover", promised_on=date(2027, 1, 14)), parked], press=times, cover=taking(90))
    kept = Kept(snapshot, {"press": np.array([30.0, 40.0])}, {Kind("cast", True, False, "order"): 1.5})
    again = unpacked(packed(kept), CALENDAR, {}, snapshot.standard_days)
    assert again.snapshot.standing == snapshot.standing
    assert again.paces == kept.paces
    assert again.hurried["press"].tolist() == [30.0, 40.0]
    assert foresee(again.snapshot, {}, 64, seed=1) == foresee(snapshot, {}, 64, seed=1)
