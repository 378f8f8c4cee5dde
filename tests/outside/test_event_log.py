"""An open event log with rework, through the code of the figures: its known throughput times, and what is open halfway.

The log is the running example of van der Aalst, Process Mining, Springer 2011, table 1.1: six requests for
compensation, 42 events. Its times are those at which an activity was completed. Its throughput times (shortest 6.03
days, median 9.44, longest 18.25) are those of the same log in the open XES format (opyenxes 0.3.0,
example/xes_file/general_example.xes), and follow by hand from the first and last time of each line below.
"""

from datetime import datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from lifelines import KaplanMeierFitter

from app.turnaround.rules.asked import Asked
from app.turnaround.rules.columns import NO_PROMISE, PLACE, WAY, Of, Stayed, columns
from app.turnaround.rules.past import Past
from app.turnaround.rules.times import NOBODY, Looked, Standing, Times
from app.turnaround.rules.weeks import weeks

ZONE = "Europe/Paris"  # the log's times are of +01:00, in winter
PLACES = ("check_in", "correct", "pour", "press", "cover", "trim", "dispense", "dispense")
STAGES = dict(zip("abcdefgh", PLACES, strict=True))
"""Its activities, as in table 1.2: register, examine thoroughly, examine casually, check ticket, decide, reinitiate,
pay, reject. Which of our stages stands for each does not matter, as all are counted by the clock here."""
LOG = {
    1: "a 12-30T11:02 b 12-31T10:06 d 01-05T15:12 e 01-06T11:18 h 01-07T14:24",
    2: "a 12-30T11:32 d 12-30T12:12 c 12-30T14:16 e 01-05T11:22 g 01-08T12:05",
    3: "a 12-30T14:32 c 12-30T15:06 d 12-30T16:34 e 01-06T09:18 f 01-06T12:18 b 01-06T13:06 d 01-08T11:43 "
    "e 01-09T09:55 g 01-15T10:45",
    4: "a 01-06T15:02 d 01-07T12:06 b 01-08T14:43 e 01-09T12:02 h 01-12T15:44",
    5: "a 01-06T09:02 c 01-07T10:16 d 01-08T11:22 e 01-10T13:28 f 01-11T16:18 d 01-14T14:33 c 01-16T15:50 "
    "e 01-19T11:18 f 01-20T12:48 c 01-21T09:06 d 01-21T11:34 e 01-23T13:12 h 01-24T14:56",
    6: "a 01-06T15:02 c 01-06T16:06 d 01-07T16:22 e 01-07T16:52 g 01-16T11:47",
}
DAY = 24 * 60
ALL = Asked(201012, 201101, None)
OF = Of(1, 0, 0, 0, 1)


def events(case: int) -> list[tuple[str, int]]:
    """Activity and minute since 1970, in their order."""
    words = LOG[case].split()
    return [(activity, minute(at)) for activity, at in zip(words[::2], words[1::2], strict=True)]


def minute(at: str) -> int:
    year = 2010 if at.startswith("12") else 2011
    return int(datetime.fromisoformat(f"{year}-{at}").replace(tzinfo=ZoneInfo(ZONE)).timestamp() // 60)


def seen_at(now: str) -> Looked:
    """The log as it stood at an instant: what was done by then, and what was still going on."""
    until, stays, going = minute(now), [], []
    for case in LOG:
        done = [each for each in events(case) if each[1] <= until]
        for (_, entered), (activity, left) in pairwise(done):
            stays.append(Stayed(PLACE[STAGES[activity]], left - entered, entered, left, case, OF, done=True))
        (_, begun), (activity, last) = done[0], done[-1]
        if activity in "gh":
            stays.append(Stayed(PLACE[WAY], last - begun, begun, last, case, OF, done=True))
        else:
            going.append((PLACE[WAY], until - begun, begun, *OF, case, NOBODY, 0, 0, NO_PROMISE))
    open_now = Standing(*np.array(going, dtype=np.int64).reshape(len(going), len(Standing._fields)).T)
    begins, ends = (int(at.timestamp() // 60) for at in ALL.span(ZONE))
    past, lately = Past([columns(stays)], ALL, begins, ends), Past([], ALL, begins, ends)
    return Looked(past, lately, open_now, ALL, begins, ends)


def days(times: Times) -> list[float]:
    assert times.curve is not None
    return np.repeat((times.curve.minutes / DAY).round(2), times.curve.ended).tolist()


def test_the_throughput_times_are_the_known_ones() -> None:
    whole = seen_at("01-31T12:00").times(WAY)
    assert days(whole) == [6.03, 8.14, 9.02, 9.86, 15.84, 18.25]
    assert whole.naive is not None
    assert whole.naive[0] / DAY == pytest.approx(9.44, abs=0.005)
    assert whole.lasting == 0


def test_work_that_is_done_again_counts_each_time() -> None:
    looked = seen_at("01-31T12:00")
    done = [activity for case in LOG for activity, _ in events(case)[1:]]
    counts = {stage: sum(STAGES[each] == stage for each in done) for stage in PLACES[1:]}
    assert counts["press"] == 9, "of six cases: a ticket was checked again three times"
    assert {stage: looked.times(stage).ended for stage in counts} == counts
    spent, whole = looked.part(PLACES[1:-1]), looked.part((WAY,))
    assert (spent.stays, whole.stays) == (42 - 6, 6)
    assert spent.all == whole.all, "stage by stage it adds up to the whole way"


def test_what_was_still_open_corrects_what_was_over() -> None:
    """On 20 January the slowest request had gone on for two weeks. Of the others alone, three in four had taken 9.86
    days at most; with it, it is 15.84, as in the end it was of all six."""
    halfway, later = seen_at("01-20T09:00").times(WAY), seen_at("01-31T12:00").times(WAY)
    assert (days(halfway), halfway.lasting) == ([6.03, 8.14, 9.02, 9.86, 15.84], 1)
    assert halfway.naive is not None
    over, slowest = [8682, 11722, 12993, 14205, 22813], minute("01-20T09:00") - minute("01-06T09:02")
    fitted = KaplanMeierFitter().fit([*over, slowest], [True] * 5 + [False]).survival_function_["KM_estimate"]
    assert halfway.figures == tuple(fitted.index[fitted <= left + 1e-9][0] for left in (0.5, 0.25, 0.1))
    assert halfway.naive[1] / DAY == pytest.approx(9.86, abs=0.005)
    assert halfway.figures[1] == later.figures[1] == 22813


def test_each_week_has_those_that_ended_in_it() -> None:
    found = weeks(seen_at("01-31T12:00"), WAY, minute("01-31T12:00"), ZONE)
    assert [str(day) for day in found.mondays] == ["2011-01-03", "2011-01-10", "2011-01-17", "2011-01-24"]
    assert found.counts == [2, 3, 0, 1]
