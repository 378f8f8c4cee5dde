"""Stays that the worker has put together by month say the same as those that are read one by one."""

from typing import Any

import pytest
from sqlmodel import delete, select

from app import outbox
from app.exchange.actions import handlers
from app.settings import Settings
from app.turnaround import actions
from app.turnaround.queries import months
from app.turnaround.tables import MonthColumns
from tests.bench.conftest import Lab
from tests.turnaround.conftest import At, Figures


def put_together(lab: Lab, settings: Settings) -> dict[int, int]:
    """What the worker does; returns how many stays each month has."""
    with lab.database.writing() as db:
        actions.look_at_months(db)
    outbox.drain(lab.database, handlers(lab.database, settings))
    with lab.database.reading() as db:
        return {row.month: row.stays for row in db.exec(select(MonthColumns).order_by("month"))}


def everything(lab: Lab, figures: Figures) -> list[dict[str, Any]]:
    """What can be asked of the story, with all that comes out."""
    house, quay = (lab.house.clinics[name] for name in ("house", "quay"))
    asked: list[dict[str, Any]] = [{}, {"months": 1}, {"months": 12, "clinic": house}, {"clinic": quay}]
    asked += [{"reason": "adjustment"}, {"shell": "polypropylene", "sides": 2}, {"from": "2027-01", "to": "2027-01"}]
    return [figures(**each) for each in asked]


def story(lab: Lab, at: At) -> None:
    """Two months with one of each: worked on, parked, sent back, withdrawn, moved to another clinic, adjusted."""
    lab.record_starts()
    at(0)
    first, second, gone = (lab.order(label=f"M {number}") for number in range(3))
    for code in (first, second, gone):
        lab.walk(code, "press")
    at(1)
    lab.act(first, "start")
    lab.act(second, "ask", reason="Which side?")
    at(2)
    lab.act(second, "answer", by="clinician", reason="Both.")
    lab.act(gone, "withdraw", by="manager", reason="Moved away", facts={"code": gone})
    lab.walk(first, "wear_in")
    lab.walk(second, "cover")
    lab.act(second, "send_back", sides="L", to_stage="press", reason="cracked")
    at(3)
    lab.act(second, "transfer", by="manager", facts={"clinic": lab.house.clinics["quay"]}, reason="Moved house")
    at(30)
    lab.act(first, "adjust", by="clinician", sides="L", facts={"where": "lab", "stages": ["cover"]})
    lab.walk(first, "wear_in")


def test_a_figure_is_the_same_with_and_without_the_worker(
    lab: Lab, at: At, figures: Figures, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(months, "WORTH", 1)
    story(lab, at)
    at(31)
    one_by_one = everything(lab, figures)
    assert one_by_one[0]["promises"] == {"kept": 1, "of": 1, "overdue": 1}, "of the one that was adjusted since"
    kept = put_together(lab, settings)
    assert list(kept) == [202701, 202702]
    assert everything(lab, figures) == one_by_one
    # The month grows; what came meanwhile is read one by one until it is put in.
    lab.walk(lab.order(label="M 4"), "dispense")
    mixed = figures()
    assert put_together(lab, settings) == kept, "it may still be taken back"
    at(31, 1)
    after = put_together(lab, settings)
    assert after[202701] == kept[202701]
    assert after[202702] > kept[202702]
    at(31, 1)
    grown = everything(lab, figures)
    with lab.database.writing() as db:
        db.exec(delete(MonthColumns))
    assert everything(lab, figures) == grown
    assert grown[0]["stages"]["press"]["left"] == mixed["stages"]["press"]["left"]


def test_what_another_version_put_together_is_made_anew(
    lab: Lab, at: At, figures: Figures, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(months, "WORTH", 1)
    at(0)
    lab.walk(lab.order(), "cover")
    at(1)
    put_together(lab, settings)
    before = figures()
    with lab.database.writing() as db:
        (row,) = db.exec(select(MonthColumns)).all()
        row.layout, row.columns = row.layout + 1, b"of other columns"
    assert figures() == before
    assert put_together(lab, settings) == {202701: 6}
    assert figures() == before


def test_little_is_not_worth_putting_together_and_nothing_writes_nothing(lab: Lab, at: At, settings: Settings) -> None:
    at(0)
    lab.walk(lab.order(), "cover")
    at(1)
    assert put_together(lab, settings) == {}
