"""Times by stage and promises kept, against numpy and by hand."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from sqlmodel import select

from app import clock
from app.bench.tables import Stay
from app.main import build
from app.settings import Settings
from app.turnaround import queries
from app.turnaround.rules import first_month, too_late
from tests.bench.conftest import Lab, lab
from tests.house import browser, program

__all__ = ["lab"]


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


def test_percentiles_from_the_database_are_numpy_s_type_7(lab: Lab) -> None:
    for number in range(7):
        clock.set_shift(timedelta(hours=9 * number))
        code = lab.order(label=f"T {number}")
        clock.set_shift(timedelta(hours=9 * number, minutes=50 * number * number))
        lab.walk(code, "press")
    with lab.database.reading() as db:
        minutes = db.exec(select(Stay.minutes).where(Stay.stage == "check_in")).all()
        (row,) = [each for each in queries.stage_times(db, 200001) if each.stage == "check_in"]
    assert row.stays == len(minutes) == 14
    assert row.median == pytest.approx(np.percentile(minutes, 50))
    assert row.ninetieth == pytest.approx(np.percentile(minutes, 90))


def test_a_promise_is_kept_on_its_day_in_the_lab_s_zone() -> None:
    late_evening = datetime(2026, 12, 4, 23, 30, tzinfo=UTC)
    assert late_evening < too_late(date(2026, 12, 4), "UTC")
    assert late_evening >= too_late(date(2026, 12, 4), "Europe/Berlin")


def test_a_pair_that_came_after_its_promised_day_is_counted_as_late(lab: Lab) -> None:
    soon, late = lab.order(label="S 1"), lab.order(label="L 1")
    for code in (soon, late):
        lab.walk(code, "pour")
    lab.walk(soon, "wear_in")
    clock.set_shift(timedelta(days=60))
    lab.walk(late, "wear_in")
    with lab.database.reading() as db:
        assert queries.on_time(db, 200001) == (1, 2)


def test_a_program_reads_what_the_page_shows(lab: Lab, settings: Settings) -> None:
    for number in range(3):
        lab.walk(lab.order(label=f"T {number}"), "wear_in" if number else "press")
    app = build(settings)
    try:
        client = program(app, lab.house.people["manager"])
        answer = client.get("/api/v1/turnaround?months=1").json()
        page = browser(app, lab.house.people["manager"]).get("/turnaround?months=1").text
        assert client.get("/api/v1/turnaround?months=2").status_code == 422
    finally:
        app.state.database.close()
    stages = {each["stage"]: each for each in answer["stages"]}
    assert (stages["press"]["open"], stages["press"]["left"]) == (1, 4), "two pairs of two sides have left it"
    assert stages["wear_in"]["median_minutes"] is None, "nobody has left it"
    assert answer["promises"] == {"kept": 2, "of": 2}
    for stage in stages.values():
        assert stage["queue"] in page
