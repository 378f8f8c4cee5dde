"""Each rule by itself: at its limit, just before it, and where it must keep silent.

The lab is open Monday to Friday, 8 to 17; Lisbon's winter time is UTC. So a working day is nine hours, and one
working day after Monday 9:00 is Tuesday 9:00. Monday is 16 November 2026; every moment below is counted by hand.
"""

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time
from typing import Any

import pytest

from app.bench.rules.acts import WAITING_ON
from app.trade.worktime import WorkCalendar
from app.watch.rules import facts
from app.watch.rules.every import RULES, flags
from app.watch.rules.kinds import KINDS
from app.watch.rules.lab import PARKED_DO
from app.watch.rules.limits import LIMITS, Moment

WEEK = WorkCalendar("Europe/Lisbon", tuple(((time(8), time(17)),) if day < 5 else () for day in range(7)))


def nov(day: int, hour: int = 0, minute: int = 0) -> datetime:
    return datetime(2026, 11, day, hour, minute, tzinfo=UTC)


def dec(day: int, hour: int = 0, minute: int = 0) -> datetime:
    return datetime(2026, 12, day, hour, minute, tzinfo=UTC)


MONDAY = nov(16, 9)
CODE = "26-00417-D"


@dataclass(frozen=True)
class Case:
    words: str
    fact: Any
    now: datetime
    raised: bool
    changed: dict[str, int] = field(default_factory=dict)


def around(words: str, fact: Any, before: datetime, at: datetime, later: datetime) -> list[Case]:
    """Silent just before the limit, raised when it is reached and after it."""
    return [
        Case(f"{words}, just before", fact, before, False),
        Case(f"{words}, at the limit", fact, at, True),
        Case(f"{words}, after it", fact, later, True),
    ]


def parked(waiting_on: str, kind: str = "reason", since: datetime = MONDAY) -> facts.Parked:
    return facts.Parked(CODE, (facts.Standing(kind, waiting_on, since),))


def promise(usual: int = 0, way: int = 0, appointment: datetime | None = None, day: int = 17) -> facts.Promise:
    return facts.Promise(CODE, date(2026, 11, day), MONDAY, usual, way, appointment)


def wish(noted_at: datetime, review_on: date | None = None, *red: str) -> facts.Wish:
    return facts.Wish(CODE, noted_at, MONDAY, review_on, red)


ARRIVAL = facts.Arrival(7, MONDAY, "Foam impression")
MISSING = facts.Missing(CODE, "LR", MONDAY)
SENT = facts.Sent(CODE, MONDAY, 2, True)
STILL = facts.Still(CODE, "To press", MONDAY)
READY = facts.Ready(CODE, MONDAY)
TOLD = facts.Ready(CODE, MONDAY, told_at=MONDAY)
WENT_BY = facts.Ready(CODE, nov(9, 9), told_at=nov(10, 9), appointment=MONDAY)
WORN = facts.Wearing(CODE, MONDAY, review_on=date(2026, 11, 30))
DUE = facts.Wearing(CODE, nov(2, 9), review_on=date(2026, 11, 16))
LITTLE = facts.Little(4, "EVA 3 mm", "1 sheet", "2 sheets", MONDAY)
EXPIRED = facts.Expired(4, "A 100", "EVA 3 mm", "1 sheet", date(2026, 11, 16))
LEFT = facts.Left(CODE, "settled", MONDAY, ("the shoes",))

CASES: dict[str, list[Case]] = {
    "arrival_unmatched": around("four hours", ARRIVAL, nov(16, 12, 59), nov(16, 13), nov(17, 9)),
    "capture_missing": around("five working days", MISSING, nov(23, 8, 59), nov(23, 9), nov(25, 9)),
    "sent_not_received": [
        *around("two usual days and one", SENT, nov(19, 8, 59), nov(19, 9), nov(20, 9)),
        Case("a clinic farther away", facts.Sent(CODE, MONDAY, 3, True), nov(19, 9), False),
    ],
    "prescription_changed": [
        Case("at once", parked("lab", "prescription"), MONDAY, True),
        Case("parked for another reason", parked("lab"), MONDAY, False),
        Case("an hour allowed", parked("lab", "prescription"), nov(16, 9, 59), False, {"prescription_change_hours": 1}),
        Case("an hour over", parked("lab", "prescription"), nov(16, 10), True, {"prescription_change_hours": 1}),
    ],
    "parked_long": [
        *around("the clinic has two days", parked("clinic"), nov(18, 8, 59), nov(18, 9), nov(19, 9)),
        *around("the lab has one", parked("lab"), nov(17, 8, 59), nov(17, 9), nov(18, 9)),
        *around("a supplier five", parked("supplier"), nov(23, 8, 59), nov(23, 9), nov(24, 9)),
        *around("the wearer ten", parked("wearer"), nov(30, 8, 59), nov(30, 9), dec(1, 9)),
        *around("the payer ten", parked("payer"), nov(30, 8, 59), nov(30, 9), dec(1, 9)),
        Case("a changed prescription has its own rule", parked("lab", "prescription"), nov(30, 9), False),
        Case("the lab changed its limit", parked("clinic"), nov(18, 9), False, {"parked_clinic_days": 3}),
    ],
    "no_move": around("three working days", STILL, nov(19, 8, 59), nov(19, 9), nov(20, 9)),
    "promise_passed": [
        Case("on the promised day", promise(), nov(17, 23, 59), False),
        Case("the day after", promise(), nov(18), True),
    ],
    "promise_at_risk": [
        Case("exactly what is left: 8 h of Monday, 9 h of Tuesday", promise(17 * 60), MONDAY, False),
        Case("a minute more", promise(17 * 60 + 1), MONDAY, True),
        Case("a minute later", promise(17 * 60), nov(16, 9, 1), True),
        Case("a day on the way leaves 8 h", promise(8 * 60, 24 * 60), MONDAY, False),
        Case("a day on the way and a minute more", promise(8 * 60 + 1, 24 * 60), MONDAY, True),
        Case("an hour's margin", promise(16 * 60 + 1), MONDAY, True, {"risk_margin_hours": 1}),
        Case("nothing known of the stages", promise(0), nov(17, 16, 59), False),
        Case("passed is another flag", promise(60), nov(18, 9), False),
    ],
    "appointment_early": [
        Case("the day before", promise(appointment=nov(18, 10), day=19), MONDAY, True),
        Case("on the day", promise(appointment=nov(19, 8), day=19), MONDAY, False),
        Case("a day's margin", promise(appointment=nov(19, 8), day=19), MONDAY, True, {"appointment_margin_days": 1}),
        Case("it is over", promise(appointment=nov(18, 10), day=19), nov(18, 10, 1), False),
        Case("none is booked", promise(day=19), MONDAY, False),
    ],
    "ready_not_told": [
        *around("one working day", READY, nov(17, 8, 59), nov(17, 9), nov(18, 9)),
        Case("told", TOLD, nov(18, 9), False),
        Case("who has an appointment knows", facts.Ready(CODE, MONDAY, None, nov(25, 9)), nov(18, 9), False),
    ],
    "told_no_appointment": [
        *around("five working days", TOLD, nov(23, 8, 59), nov(23, 9), nov(24, 9)),
        *around("the appointment went by", WENT_BY, nov(23, 8, 59), nov(23, 9), nov(24, 9)),
        Case("not told", READY, nov(30, 9), False),
        Case("booked", facts.Ready(CODE, MONDAY, MONDAY, nov(25, 9)), nov(24, 9), False),
    ],
    "not_collected": [
        *around("28 days", TOLD, dec(14, 8, 59), dec(14, 9), dec(15, 9)),
        Case("a fitting is to come", facts.Ready(CODE, MONDAY, MONDAY, dec(16, 9)), dec(15, 9), False),
    ],
    "review_overdue": [
        *around("three days", DUE, nov(18, 23, 59), nov(19), nov(25, 9)),
        Case("none set", facts.Wearing(CODE, MONDAY), dec(30, 9), False),
        Case("booked later", facts.Wearing(CODE, nov(2, 9), date(2026, 11, 16), nov(20, 9)), nov(22, 23), False),
        Case("that is over, too", facts.Wearing(CODE, nov(2, 9), date(2026, 11, 16), nov(20, 9)), nov(23), True),
    ],
    "review_not_set": [
        *around("one day", facts.Wearing(CODE, MONDAY), nov(17, 8, 59), nov(17, 9), nov(18, 9)),
        Case("set", WORN, nov(18, 9), False),
    ],
    "recheck_overdue": around(
        "14 days", facts.Recheck(CODE, date(2026, 11, 16), "a child"), nov(29, 23, 59), nov(30), dec(5, 9)
    ),
    "recheck_not_set": [
        *around("7 days", facts.Wearing(CODE, MONDAY, None, None, "a child"), nov(23, 8, 59), nov(23, 9), nov(24, 9)),
        Case("set", facts.Wearing(CODE, MONDAY, None, None, "a child", True), nov(30, 9), False),
        Case("not needed", WORN, nov(30, 9), False),
    ],
    "red_flag": [
        Case("at once, at night", wish(nov(17, 23), None, "numbness"), nov(17, 23), True),
        Case("a plain wish", wish(nov(17, 9)), nov(30, 9), False),
        Case("an hour allowed", wish(nov(17, 9), None, "skin"), nov(17, 9, 59), False, {"red_flag_hours": 1}),
        Case("an hour over", wish(nov(17, 9), None, "skin"), nov(17, 10), True, {"red_flag_hours": 1}),
    ],
    "adjustment_early": [
        Case("the day before the review", wish(nov(29, 23, 59), date(2026, 11, 30)), nov(30), True),
        Case("on its day", wish(nov(30), date(2026, 11, 30)), nov(30, 1), False),
        Case("no review, within 14 days", wish(nov(30, 8, 59)), nov(30, 9), True),
        Case("no review, after 14 days", wish(nov(30, 9)), nov(30, 9), False),
        Case("a red flag is never too early", wish(nov(17, 9), None, "skin"), nov(17, 9), False),
    ],
    "sent_back_often": [
        Case("twice", facts.Repeated(CODE, 2, MONDAY), MONDAY, True),
        Case("three times", facts.Repeated(CODE, 3, MONDAY), MONDAY, True),
        Case("once", facts.Repeated(CODE, 1, MONDAY), MONDAY, False),
        Case("never, whatever the limit", facts.Repeated(CODE), MONDAY, False, {"sent_back_times": 0}),
    ],
    "second_adjustment": [
        Case("the second", facts.Repeated(CODE, adjusted=2, adjusted_at=MONDAY), MONDAY, True),
        Case("the first", facts.Repeated(CODE, adjusted=1, adjusted_at=MONDAY), MONDAY, False),
        Case("sent back is no adjustment", facts.Repeated(CODE, 5, MONDAY), MONDAY, False),
    ],
    "lot_expired": [
        *around("a lot on its last day and after it", EXPIRED, nov(16, 23, 59), nov(17), dec(1)),
        Case("with a lab's own limit of two days", EXPIRED, nov(18, 9), False, {"expired_days": 2}),
        Case("with a lab's own limit of two days, over", EXPIRED, nov(19), True, {"expired_days": 2}),
    ],
    "low_stock": [
        Case("little in stock, at once", LITTLE, MONDAY, True),
        *(
            Case(f"{each.words}, by a lab's own limit", LITTLE, each.now, each.raised, {"low_stock_hours": 2})
            for each in around("little in stock", LITTLE, nov(16, 10, 59), nov(16, 11), nov(17, 9))
        ),
    ],
    "belongings_open": [
        *around("two working days", LEFT, nov(18, 8, 59), nov(18, 9), nov(19, 9)),
        Case("nothing came with it", facts.Left(CODE, "settled", MONDAY, ()), nov(30, 9), False),
    ],
}
ALL = [pytest.param(kind, case, id=f"{kind}: {case.words}") for kind, cases in CASES.items() for case in cases]
BY_NAME = {rule.__name__: rule for rules in RULES.values() for rule in rules}


@pytest.mark.parametrize(("kind", "case"), ALL)
def test_a_rule_speaks_from_its_limit_on_and_only_then(kind: str, case: Case) -> None:
    flag = BY_NAME[kind](case.fact, Moment(case.now, WEEK, case.changed))
    assert (flag is not None) == case.raised


@pytest.mark.parametrize(("kind", "case"), [case for case in ALL if case.values[1].raised])  # type: ignore[union-attr]
def test_a_flag_says_what_why_since_when_and_what_to_do(kind: str, case: Case) -> None:
    flag = BY_NAME[kind](case.fact, Moment(case.now, WEEK, case.changed))
    assert flag is not None
    assert flag.kind == kind
    assert flag.since <= case.now
    for words in (flag.what, flag.why, flag.do):
        assert words[0].isupper()
        assert words.endswith(".")
    assert any(flag.limit.endswith(limit.words) for limit in LIMITS.values())
    assert [flag.pair == CODE, flag.arrival == 7, flag.lot == 4].count(True) == 1


def test_no_kind_is_without_its_rule_its_title_and_its_cases() -> None:
    assert set(BY_NAME) - set(KINDS) == set()
    assert set(KINDS) - set(BY_NAME) == set()
    assert set(KINDS) - set(CASES) == set()
    silent = {kind for kind, cases in CASES.items() if {case.raised for case in cases} != {True, False}}
    assert silent == set(), "each has a case for speaking and one for silence"


def test_every_party_that_a_pair_can_wait_on_has_a_limit_and_something_to_do() -> None:
    assert set(PARKED_DO) == set(WAITING_ON)
    assert {f"parked_{party}_days" for party in WAITING_ON} - set(LIMITS) == set()


def test_every_limit_is_one_that_a_rule_or_a_door_asks_for() -> None:
    asked: set[str] = set()

    class Listening(Moment):
        def limit(self, name: str) -> int:
            asked.add(name)
            return super().limit(name)

    for kind, cases in CASES.items():
        for case in cases:
            BY_NAME[kind](case.fact, Listening(case.now, WEEK, case.changed))
    assert set(LIMITS) - asked == {"put_off_days"}


def test_the_most_urgent_comes_first_and_of_one_kind_the_oldest() -> None:
    at = Moment(nov(30, 9), WEEK)
    late = facts.Ready("26-00002-X", nov(17, 9))
    found = flags([late, READY, wish(nov(29, 9), None, "skin"), STILL], at)
    assert [flag.kind for flag in found] == ["red_flag", "no_move", "ready_not_told", "ready_not_told"]
    assert [flag.pair for flag in found[2:]] == [CODE, "26-00002-X"]


def test_working_time_and_days_read_as_people_say_them() -> None:
    flag = BY_NAME["no_move"](STILL, Moment(nov(19, 11), WEEK))
    assert flag is not None
    assert "3\u00a0d\u00a02\u00a0h of working time ago" in flag.why
    assert flag.limit == "3 working days without any act on a pair"
    late = BY_NAME["promise_passed"](promise(), Moment(datetime(2027, 1, 4, tzinfo=UTC), WEEK))
    assert late is not None
    assert late.why == "It was promised for Tue 17 Nov 2026."
    assert late.since == nov(18)
