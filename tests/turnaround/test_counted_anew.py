"""The lab changes its hours: every figure stays that of the old ones until all times are counted in the new."""

from datetime import timedelta
from typing import Any

import pytest
from sqlmodel import col, func, select

from app import clock
from app.bench.tables import Stay
from app.people import actions as people
from app.people import queries
from app.people.tables import Lab as LabSettings
from app.turnaround import actions
from app.turnaround.actions import recounting
from tests.bench.conftest import Lab
from tests.turnaround.conftest import At, Client, Figures

MORNINGS: list[list[list[str]]] = [[["08:00", "12:00"]] if day < 5 else [] for day in range(7)]
AFTERNOONS: list[list[list[str]]] = [[["13:00", "17:00"]] if day < 5 else [] for day in range(7)]
SOON = 0.005


def five_pressed(lab: Lab, at: At) -> None:
    """Five pairs stay at the press from before it opens to two, to two of the next day, and so on."""
    at(0, -1)
    codes = [lab.order(label=f"C {number}") for number in range(5)]
    for code in codes:
        lab.walk(code, "press")
    for day, code in enumerate(codes):
        at(day, 6 + SOON)
        lab.act(code, "advance")


def change_hours(lab: Lab, hours: Any) -> None:
    with lab.database.writing() as db:
        people.change_lab(db, by=lab.house.viewer("manager"), calendar={"hours": hours})


def step(lab: Lab) -> int:
    with lab.database.writing() as db:
        return actions.count_anew(db)


def later(**much: float) -> None:
    clock.set_shift(clock.shift() + timedelta(**much))


def stays(lab: Lab) -> dict[int, int]:
    """How many there are by calendar."""
    with lab.database.reading() as db:
        return dict(db.exec(select(Stay.calendar_id, func.count()).group_by(col(Stay.calendar_id))).all())


def median(figures: Figures) -> float:
    return float(figures()["stages"]["press"]["median_minutes"])


def test_old_figures_stay_until_the_last_pair_is_counted(
    lab: Lab, at: At, figures: Figures, browser: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recounting, "PAIRS", 2)
    five_pressed(lab, at)
    # Two working days of nine hours, and six.
    assert median(figures) == 2 * 540 + 360
    change_hours(lab, MORNINGS)
    assert (median(figures), figures()["counted_anew"]) == (1440, 0)
    assert step(lab) == 0, "what began before the change may still end in the old hours alone"
    later(minutes=1)
    told = []
    while step(lab):
        told.append((figures()["counted_anew"], median(figures)))
        if len(told) == 1:
            assert "being counted anew" in browser("manager").get("/turnaround").text
            assert "being counted anew" in browser("manager").get("/lab").text
            lab.walk(lab.order(label="C 6"), "cover")
    # With the sixth pair, which went through at once, half take a day and six hours; of mornings alone, two mornings.
    assert told[:4] == [(40, 1440), (80, 540 + 360), (99, 540 + 360), (None, 2 * 240)]
    assert len(told) > 4, "the old hours' times are thrown away, some at a time"
    with lab.database.reading() as db:
        assert list(stays(lab)) == [queries.lab(db).calendar_id]
    assert "being counted anew" not in browser("manager").get("/turnaround").text


def test_every_stay_is_what_the_new_hours_make_of_it(lab: Lab, at: At) -> None:
    five_pressed(lab, at)
    change_hours(lab, MORNINGS)
    later(minutes=1)
    lab.walk(lab.order(label="C 6"), "wear_in")
    while step(lab):
        later(seconds=1)
    with lab.database.reading() as db:
        hours = queries.counted(db).hours
        rows = db.exec(select(Stay)).all()
    benches = [row for row in rows if row.stage not in ("dispense", "wear_in")]
    assert len(benches) == 5 * 6 + 5 * 2
    for row in benches:
        assert row.minutes == hours.minutes_between(row.entered_at, row.left_at), row
    (dispensed,) = {row.minutes for row in rows if row.stage == "dispense"}
    assert dispensed == 0, "by the clock, whatever the hours are"


def test_hours_that_are_changed_again_meanwhile_are_the_ones_that_count(
    lab: Lab, at: At, figures: Figures, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recounting, "PAIRS", 2)
    five_pressed(lab, at)
    change_hours(lab, MORNINGS)
    later(minutes=1)
    step(lab)
    change_hours(lab, AFTERNOONS)
    assert (median(figures), figures()["counted_anew"]) == (1440, 0)
    later(minutes=1)
    while step(lab):
        assert median(figures) in (1440, 540)
    # Two afternoons of four hours, and one of the third.
    assert (median(figures), figures()["counted_anew"]) == (540, None)
    assert len(stays(lab)) == 1


def test_hours_changed_back_are_counted_from_what_there_is(lab: Lab, at: At, figures: Figures) -> None:
    five_pressed(lab, at)
    before = median(figures)
    with lab.database.reading() as db:
        old = db.get_one(LabSettings, 1).calendar_id
    whole = [[["08:00", "17:00"]] if day < 5 else [] for day in range(7)]
    for hours in (MORNINGS, whole):
        change_hours(lab, hours)
        later(minutes=1)
    while step(lab):
        assert median(figures) == before
    with lab.database.reading() as db:
        assert db.get_one(LabSettings, 1).calendar_id != old
    assert (median(figures), figures()["counted_anew"]) == (before, None)
