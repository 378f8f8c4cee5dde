"""Where time goes: figures with what is still open, what they can be narrowed to, and the pairs behind each."""

import re
from datetime import UTC, date, datetime
from html import unescape
from typing import Any

import numpy as np
import pytest
from lifelines import KaplanMeierFitter
from sqlmodel import select

from app.bench.tables import Stay
from app.turnaround import queries
from app.turnaround.rules import first_month, too_late
from tests.bench.conftest import SIDE, Lab
from tests.turnaround.conftest import At, Client, Figures


@pytest.mark.parametrize(
    ("today", "months", "first"),
    [
        (date(2026, 11, 25), 1, 202611),
        (date(2026, 11, 25), 12, 202512),
        (date(2026, 1, 5), 3, 202511),
        (date(2026, 12, 31), 12, 202601),
    ],
)
def test_a_period_begins_with_its_first_month(today: date, months: int, first: int) -> None:
    assert first_month(today, months) == first


def test_percentiles_from_the_database_are_numpy_s_type_7(lab: Lab, at: At) -> None:
    for number in range(7):
        at(0, number / 2)
        code = lab.order(label=f"T {number}")
        at(0, number / 2 + number * number / 9)
        lab.walk(code, "press")
    with lab.database.reading() as db:
        minutes = db.exec(select(Stay.minutes).where(Stay.stage == "check_in")).all()
        found = queries.lengths(db, 200001, ["check_in", "cover"])
    assert (len(minutes), list(found)) == (14, ["check_in"])
    for p in (50, 90):
        assert queries.percentile(found["check_in"], p) == pytest.approx(np.percentile(minutes, p))


def test_a_promise_is_kept_on_its_day_in_the_lab_s_zone() -> None:
    late_evening = datetime(2026, 12, 4, 23, 30, tzinfo=UTC)
    assert late_evening < too_late(date(2026, 12, 4), "UTC")
    assert late_evening >= too_late(date(2026, 12, 4), "Europe/Berlin")


SOON = 0.005
"""Hours: longer than the acts of a story take, and less than a minute."""


def pressed(lab: Lab, at: At) -> None:
    """Eight pairs come to the press on Friday afternoon at four; one leaves each working hour, three stay there."""
    at(4, 8)
    codes = [lab.order(label=f"P {number}") for number in range(8)]
    for code in codes:
        lab.walk(code, "press")
    for hour, code in enumerate(codes[:5]):
        at(7, hour + SOON)
        lab.act(code, "advance")
    at(7, 6 + SOON)


def test_what_still_lies_there_counts_and_the_weekend_does_not(lab: Lab, at: At, figures: Figures) -> None:
    pressed(lab, at)
    press = figures()["stages"]["press"]
    # Both sides of each; until eight on Monday it is the hour of Friday, then an hour more each time.
    over, still = [60, 120, 180, 240, 300] * 2, [60 + 6 * 60] * 6
    assert (press["working_time"], press["left"], press["not_over"], press["open"]) == (True, 10, 6, 3)
    assert press["oldest_minutes"] == 420
    fitted = KaplanMeierFitter().fit(over + still, [True] * len(over) + [False] * len(still)).survival_function_
    median = fitted.index[fitted["KM_estimate"] <= 0.5 + 1e-9][0]
    assert press["median_minutes"] == median == 240
    assert press["naive_median_minutes"] == np.percentile(over, 50) == 180, "an hour too short"
    assert press["ninetieth_minutes"] is None, "three of eight are still there: nobody knows yet"
    assert press["naive_ninetieth_minutes"] == np.percentile(over, 90)


def test_the_page_says_what_a_program_reads_and_how_far_off_the_others_are(lab: Lab, at: At, browser: Client) -> None:
    pressed(lab, at)
    page = browser("manager").get("/turnaround?stage=press&bands=yes")
    found = rows(page.text)
    too_short = "too short; by how much is not known yet"
    assert found["To press"] == ["4 h", "not known yet", "10", "6", "3", too_short]
    assert found["Median"] == ["4 h", "3 h", "1 h too short (25 %)"]
    assert found["90th percentile"] == ["not known yet", "5 h", too_short]
    assert "With 95 %" in page.text
    assert found["To check in"][:1] == ["0 min"]
    assert found["The whole way"][:2] == ["too few", "too few"]


def rows(page: str) -> dict[str, list[str]]:
    """The rows of all tables by their first words; of equal ones the first."""
    found: dict[str, list[str]] = {}
    for row in re.findall(r"<tr>(.*?)</tr>", page, re.DOTALL):
        cells = [words(each) for each in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.DOTALL)]
        found.setdefault(cells[0].removesuffix(" by the clock"), cells[1:])
    return found


def words(markup: str) -> str:
    return " ".join(unescape(re.sub("<[^>]*>", " ", markup)).split())


def test_each_filter_leaves_the_pairs_that_it_names(lab: Lab, at: At, figures: Figures) -> None:
    at(0)
    made = {}
    orders: dict[str, dict[str, Any]] = {
        "plain": {},
        "quay": {"clinic": "quay", "by": "quay clinician"},
        "carved": {"way": "carved"},
        "eva": {"prescription": {side: SIDE | {"shell": "eva", "shell_thickness": 100} for side in "LR"}},
        "right": {"sides": "R"},
    }
    for name, more in orders.items():
        made[name] = lab.order(label=f"F {name}", **more)
        lab.walk(made[name], "wear_in", more.get("by", "clinician"))
    at(30)
    lab.act(made["plain"], "adjust", by="clinician", sides="L", facts={"where": "lab", "stages": ["cover"]})
    lab.walk(made["plain"], "dispense")
    quay = lab.house.clinics["quay"]
    asked: dict[str, dict[str, Any]] = {
        "all": {},
        "clinic": {"clinic": quay},
        "way": {"way": "carved"},
        "shell": {"shell": "eva"},
        "sides": {"sides": 1},
        "reason": {"reason": "adjustment"},
        "both": {"clinic": quay, "sides": 2},
        "neither": {"clinic": quay, "way": "carved"},
        "months": {"from": "2026-12", "to": "2026-12"},
    }
    covered = {name: figures(**each)["stages"].get("cover") for name, each in asked.items()}
    left = {name: stage["left"] for name, stage in covered.items() if stage}
    assert left == {"all": 10, "clinic": 2, "way": 2, "shell": 2, "sides": 1, "reason": 1, "both": 2}


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({"months": "2"}, "months"),
        ({"from": "2026-13"}, "from"),
        ({"from": "2027-02", "to": "2027-01"}, "from"),
        ({"clinic": "99"}, "clinic"),
        ({"way": "baked"}, "way"),
        ({"sides": "3"}, "sides"),
    ],
)
def test_what_cannot_be_asked_is_said_at_its_field(
    lab: Lab, program: Client, browser: Client, asked: dict[str, str], field: str
) -> None:
    answer = program("manager").get("/api/v1/turnaround", params=asked)
    assert answer.status_code == 422
    page = browser("manager").get("/turnaround", params=asked)
    assert page.status_code == 422
    assert field == "months" or re.search(f'id="f-{field}"[^>]*aria-invalid="true"', page.text, re.DOTALL)
    assert all(value in unescape(page.text) for value in asked.values()), "what was typed stands there again"


def test_where_a_stay_went_is_waiting_work_and_standing_still(lab: Lab, at: At, browser: Client) -> None:
    lab.record_starts()
    for day in range(5):
        at(day)
        code = lab.order(label=f"W {day}")
        lab.walk(code, "press")
        at(day, 1 + 1 * SOON)
        lab.act(code, "start")
        at(day, 3 + 2 * SOON)
        lab.act(code, "ask", reason="Which side?")
        at(day, 7 + 3 * SOON)
        lab.act(code, "answer", by="clinician", reason="The left.")
        at(day, 8 + 4 * SOON)
        lab.act(code, "advance")
    found = rows(browser("manager").get("/turnaround?stage=press").text)
    # Of eight hours each: one of waiting, two of work, four of standing still, and another until it went on.
    assert found["Worked on, of 10 stays in which a start was recorded"] == ["2 h each", "25 %"]
    assert found["Parked, waiting on the clinic"] == ["4 d 4 h", "50 %"], "ten times four hours; a day has nine"
    assert found["All else of 10 stays that are over"] == ["4 d 4 h", "50 %"]


def busy(lab: Lab, at: At) -> list[str]:
    """Eight weeks of one to eight pairs, each dispensed on its Friday; one is late, two lie about."""
    late = lab_order(lab, at, 0, "L 1")
    for week in range(8):
        codes = [
            lab_order(lab, at, 7 * week, f"B {week} {number}") for number in range(1 + week % 3 if week < 7 else 9)
        ]
        at(7 * week + 4, 5)
        for code in codes:
            lab.walk(code, "wear_in")
    lab.walk(late, "dispense")
    at(56)
    return [lab.order(label="O 1"), lab.order(label="O 2")]


def lab_order(lab: Lab, at: At, day: int, label: str) -> str:
    at(day)
    code = lab.order(label=label)
    lab.act(code, "advance")
    return code


def test_weeks_that_stand_out_are_told_and_every_bar_and_point_leads_to_its_pairs(
    lab: Lab, at: At, browser: Client
) -> None:
    busy(lab, at)
    manager = browser("manager")
    page = manager.get("/turnaround?months=12").text
    counts = np.array([1, 2, 3, 1, 2, 3, 1, 10])
    high = counts.mean() + 2.660 * np.abs(np.diff(counts)).mean()
    assert f"The week of 1 Mar 2027: 10, more than the limit of {high:.1f}." in page
    assert page.count("<li>The week of") == 1, "no other week stands out, and no share of promises kept"
    assert "1 Mar 90 %" in words(page), "nine of the ten that came then were on time"
    charted = re.findall(r'<a class="in-row" href="(/turnaround/pairs[^"]*)">.*?</a></th>\s*<td>(.*?)</td>', page)
    behind = {href: manager.get(unescape(href)).text for href, _ in charted}
    assert len(charted) == 1 + 8 + 1, "an age, each week, and the week in which one came late"
    for href, figure in charted:
        pairs = len(re.findall(r'href="/pair/', behind[href]))
        assert pairs == (1 if "late" in href else int(figure)), href
    assert "/turnaround/pairs?months=12&amp;age=0-2" in dict(charted)
    assert "O 1" in behind["/turnaround/pairs?months=12&amp;age=0-2"]
    assert "L 1" in next(text for href, text in behind.items() if "late=yes" in href)


def test_promises_count_where_they_were_kept_whatever_came_later(lab: Lab, at: At, figures: Figures) -> None:
    at(0)
    adjusted, waiting, late = (lab.order(label=f"{name} 1") for name in "AWL")
    for code in (adjusted, waiting, late):
        lab.walk(code, "pour")
    lab.walk(adjusted, "wear_in")
    lab.walk(waiting, "dispense")
    at(60)
    overdue = figures()["promises"]
    lab.walk(late, "wear_in")
    promises = figures()["promises"]
    # The next visit is promised anew: what became of the first promise stays as it was.
    lab.act(adjusted, "adjust", by="clinician", sides="L", facts={"where": "lab", "stages": ["cover"]})
    assert (overdue, promises) == ({"kept": 2, "of": 2, "overdue": 1}, {"kept": 2, "of": 3, "overdue": 0})
    assert figures()["promises"] == promises
    with lab.database.reading() as db:
        assert queries.on_time(db, 200001) == (2, 3), "the desk says the same"


def test_a_stage_nobody_has_left_says_how_many_are_there(lab: Lab, at: At, figures: Figures) -> None:
    at(0)
    for number in range(3):
        lab.walk(lab.order(label=f"T {number}"), "wear_in" if number else "press")
    stages: dict[str, Any] = figures(months=1)["stages"]
    assert (stages["press"]["open"], stages["press"]["left"]) == (1, 4), "two pairs of two sides have left it"
    assert stages["wear_in"]["median_minutes"] is None, "nobody has left it"
