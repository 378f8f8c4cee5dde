"""From what was made before: the same again with what is to change, and a second pair from the same captures."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import col, select

from app import clock
from app.capture.tables import Positive, WorkedFrom
from app.database import Database
from app.desks.rules.telling import was_words
from app.errors import Unready
from app.journal.tables import Entry
from app.people.tables import Lab as LabRow
from tests.bench.conftest import Lab
from tests.desks.test_order_form import order, typed
from tests.house import House
from tests.people.forms import read

Browser = Callable[[str], TestClient]


@pytest.fixture
def lab(database: Database, house: House) -> Lab:
    return Lab(database, house)


def again(browser: TestClient, address: str, **more: Any) -> dict[str, Any]:
    """The form at this address as it comes, filled in further."""
    form = read(browser.get(address).text)
    ticked = {name: value for name, value in form.ticked if "additions" not in name}
    return {name: value for name, value in form.values.items() if name not in ("scan.L", "scan.R")} | ticked | more


def positives(database: Database) -> list[Positive]:
    with database.reading() as db:
        return list(db.exec(select(Positive).order_by(col(Positive.id))))


def test_an_earlier_pair_is_ordered_again_and_each_change_stands_beside_what_it_was(
    browser: Browser, house: House
) -> None:
    clinician = browser("clinician")
    first = order(clinician, typed(house, **{"L.heel_cup": "14", "R.skive": "2"}))
    changed = {"L.shell_thickness": "3.5", "L.heel_cup": "", "change": "softer under the left arch"}
    form = again(clinician, f"/orders/new?start={first}", **changed, **{"capture.L": "foam", "capture.R": "foam"})
    code = order(clinician, form)
    for who in ("clinician", "technician"):
        page = browser(who).get(f"/pair/{code}").text
        assert f"To change from {first}: softer under the left arch" in page
        assert f'Repeats <a class="code" href="/pair/{first}"' in page
        assert page.count("was 4.0\u00a0mm") == 1, "the right is as thick as before"
        assert "was 14.0\u00a0mm" in page, "what was left out is told, too"
        assert page.count('class="was"') == 2
    assert 'class="was"' not in clinician.get(f"/pair/{first}").text


def test_the_form_of_one_wearer_ordered_for_another_repeats_nothing(browser: Browser, house: House) -> None:
    clinician = browser("clinician")
    first = order(clinician, typed(house))
    form = typed(house, repeats=first, label="MR 9", **{"L.shell_thickness": "3"})
    assert "Repeats" not in clinician.get(f"/pair/{order(clinician, form)}").text
    forged = typed(house, repeats="26-00099-X")
    assert "Repeats" not in clinician.get(f"/pair/{order(clinician, forged)}").text


def test_a_side_that_one_of_the_pairs_lacks_did_not_change() -> None:
    left = {"shell": "eva"}
    assert was_words({"L": left}, {"L": left, "R": left}, "metric") == {}
    assert was_words({"L": left, "R": {}}, {"L": {"shell": "eva", "skive": 20}}, "metric") == {
        "Medial heel skive": {"left": "2.0\u00a0mm"}
    }


@pytest.mark.parametrize(("way", "made"), [("cast", "pour"), ("carved", "carve")])
def test_a_positive_stands_on_the_shelf_once_it_is_made_and_taking_it_back_takes_it_away(
    lab: Lab, database: Database, way: str, made: str
) -> None:
    with database.writing() as db:
        db.get_one(LabRow, 1).limits = {"positive_months": 2}
    code = lab.order(way=way, sides="L")
    lab.walk(code, made)
    assert positives(database) == []
    lab.act(code, "advance")
    (one,) = positives(database)
    assert (one.side, one.state) == ("L", "intact")
    assert one.kept_until is not None
    assert 58 <= (one.kept_until - one.made_at.date()).days <= 62
    with database.reading() as db:
        assert db.exec(select(WorkedFrom.positive_id)).all() == [one.id]
    lab.act(code, "take_back")
    assert positives(database) == []
    with database.reading() as db:
        assert db.exec(select(WorkedFrom.positive_id)).all() == [None]


def second(browser: TestClient, code: str, **more: Any) -> str:
    return order(browser, again(browser, f"/orders/new?second={code}", **more))


def test_a_second_pair_is_pressed_while_the_positives_are_kept_and_worked_from_the_captures_after(
    lab: Lab, browser: Browser, database: Database
) -> None:
    clinician, first = browser("clinician"), lab.order()
    lab.walk(first, "press")
    pressed = second(clinician, first, sides="L", change="same, for the boots")
    assert (lab.at(pressed).stage, lab.at(pressed).sides) == ("press", {"L": "press"})
    assert lab.row(pressed)["promised_on"] == lab.row(first)["promised_on"], "both came to the bench today"
    assert f'Repeats <a class="code" href="/pair/{first}"' in clinician.get(f"/pair/{pressed}").text
    with database.reading() as db:
        shared = db.exec(select(WorkedFrom.capture_id, WorkedFrom.positive_id).where(WorkedFrom.side == "L")).all()
    assert len(shared) == 2
    assert len(set(shared)) == 1
    technician = browser("technician")
    assert technician.post(f"/pair/{first}/positive/L", data={"act": "broken"}).status_code == 303
    assert lab.at(second(clinician, first, sides="L")).stage == "pour"
    assert lab.at(second(clinician, first, sides="R")).stage == "press"
    clock.set_shift(timedelta(days=190))
    browser("clinician")
    seen = {"seen.stale.R": "yes", "sides": "R"}
    assert lab.at(second(browser("clinician"), first, **seen)).stage == "pour"


def test_what_is_not_checked_in_yet_is_checked_in_for_both_pairs(lab: Lab, browser: Browser) -> None:
    first = lab.order()
    later = second(browser("clinician"), first)
    assert lab.at(later).stage == "check_in"
    lab.act(first, "advance")
    lab.act(later, "advance")
    assert lab.at(later).stage == "pour"


def test_old_captures_are_asked_about_and_another_wearer_or_side_or_route_is_refused(
    lab: Lab, browser: Browser
) -> None:
    first = lab.order(sides="L")
    lab.walk(first, "press")
    clock.set_shift(timedelta(days=800))
    clinician = browser("clinician")
    form = again(clinician, f"/orders/new?second={first}")
    page = clinician.post("/orders/new", data=form)
    assert page.status_code == 422
    assert 'id="check-stale.L"' in page.text
    for wrong, field in (({"label": "MR 9"}, "label"), ({"sides": "LR"}, "sides"), ({"way": "direct"}, "way")):
        sides = {"R.shell": "eva", "R.shell_thickness": "4"} if field == "sides" else {}
        answer = clinician.post("/orders/new", data=form | wrong | sides)
        assert answer.status_code == 422
        assert f'id="f-{field}-error"' in answer.text


def test_a_remake_is_not_pressed_over_a_positive_that_is_gone_and_is_told_what_can_be_done(
    lab: Lab, browser: Browser, database: Database
) -> None:
    code = lab.order()
    lab.walk(code, "dispense")
    technician = browser("technician")
    assert technician.post(f"/pair/{code}/positive/R", data={"act": "put", "shelf": "P 3"}).status_code == 303
    assert technician.post(f"/pair/{code}/positive/R", data={"act": "broken"}).status_code == 303
    assert technician.post(f"/pair/{code}/positive/R", data={"act": "thrown_away"}).status_code == 409
    assert technician.post(f"/pair/{code}/positive/L", data={"act": "intact"}).status_code == 422
    assert "shelf <b>P 3</b>" in technician.get(f"/pair/{code}").text
    remake: dict[str, Any] = {"by": "clinician", "sides": "R", "reason": "broken"}
    with pytest.raises(Unready, match=r"right, is broken: .* Start from the capture, which is poured again"):
        lab.act(code, "remake", **remake, facts={"start": "positive"})
    made = lab.act(code, "remake", **remake, facts={"start": "capture"})
    lab.act(made.state.code, "advance")
    rows = positives(database)
    assert [(each.side, each.state) for each in rows] == [("L", "intact"), ("R", "broken"), ("R", "intact")]
    with database.reading() as db:
        entry = db.exec(select(Entry).where(Entry.what == "positive_broken")).one()
    assert (entry.subject, entry.subject_id) == ("capture", rows[1].capture_id)


def test_a_remake_after_the_months_a_positive_is_kept_is_refused(lab: Lab) -> None:
    code = lab.order(sides="L")
    lab.walk(code, "dispense")
    clock.set_shift(timedelta(days=190))
    with pytest.raises(Unready, match="was kept until"):
        lab.act(code, "remake", by="clinician", sides="L", reason="broken", facts={"start": "positive"})
