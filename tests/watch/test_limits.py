"""The lab sets its own limits: they hold from the very next page, are journalled, and a slip of the hand is named."""

from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient
from sqlmodel import col, select

from app.bench.rules.stages import WAYS
from app.journal.tables import Entry
from app.people import queries as people
from app.watch.rules.kinds import KINDS
from app.watch.rules.limits import LIMITS
from app.watch.rules.settings import MOST, SETTINGS
from tests.people.forms import read
from tests.watch.conftest import WatchedLab

Person = Callable[[str], TestClient]


def journal(lab: WatchedLab) -> list[Entry]:
    with lab.database.reading() as db:
        return list(db.exec(select(Entry).where(Entry.what == "limits_changed").order_by(col(Entry.id))))


def own(lab: WatchedLab) -> dict[str, int]:
    with lab.database.reading() as db:
        return people.lab(db).limits


def test_the_page_has_a_field_for_every_limit_with_its_default_beside(browser: Person, lab: WatchedLab) -> None:
    page = browser("manager").get("/flags/limits").text
    fields = read(page).values
    assert set(SETTINGS) <= set(fields)
    assert all(fields[name] == "" for name in SETTINGS)
    assert "working days that a pair waits on a supplier" in page


def test_every_kind_of_flag_and_every_way_of_making_has_a_limit_to_set() -> None:
    assert {each.of for each in LIMITS.values()} >= set(KINDS)
    assert {f"standard_days_{way}" for way in WAYS} <= set(SETTINGS)
    assert all(each.least <= each.default <= MOST[each.unit] for each in SETTINGS.values())


def test_a_limit_holds_from_the_very_next_page_and_no_longer_than_it_is_set(browser: Person, lab: WatchedLab) -> None:
    code = lab.order()
    lab.walk(code, "press")
    lab.pass_days(1.2)
    manager, technician = browser("manager"), browser("technician")
    assert code not in technician.get("/flags").text
    assert manager.post("/flags/limits", data={"no_move_days": "1"}).status_code == 303
    page = technician.get("/flags").text
    assert code in page
    assert "1 working day without any act on a pair" in page
    (raised,) = lab.raised(code)
    assert raised.flag.limit.endswith(next(each.words for each in LIMITS.values() if each.of == raised.flag.kind))
    manager.post("/flags/limits", data={"no_move_days": " "})
    assert code not in technician.get("/flags").text
    assert own(lab) == {}


def test_the_promise_at_check_in_goes_by_the_lab_s_own_days(browser: Person, lab: WatchedLab) -> None:
    browser("manager").post("/flags/limits", data={"standard_days_cast": "4"})
    code = lab.order()
    lab.act(code, "advance")
    assert str(lab.row(code)["promised_on"]) == "2027-01-15", "Monday and four working days"


def test_a_change_is_journalled_with_old_and_new_and_no_change_is_not(browser: Person, lab: WatchedLab) -> None:
    manager = browser("manager")
    manager.post("/flags/limits", data={"no_move_days": "5", "told_days": "2", "ready_days": ""})
    manager.post("/flags/limits", data={"no_move_days": "5", "told_days": ""})
    manager.post("/flags/limits", data={"no_move_days": "5"})
    assert [(entry.staff_id, entry.facts) for entry in journal(lab)] == [
        (
            lab.house.people["manager"],
            {"fields": ["told_days", "no_move_days"], "told_days": [None, 2], "no_move_days": [None, 5]},
        ),
        (lab.house.people["manager"], {"fields": ["told_days"], "told_days": [2, None]}),
    ]
    assert read(manager.get("/flags/limits").text).values["no_move_days"] == "5"


@pytest.mark.parametrize(
    "typed", ["abc", "-1", "251", "1.5", "٣", "²", "00000000000000000001", "9" * 40], ids=lambda typed: typed[:8]
)
def test_what_can_t_be_a_limit_is_named_at_its_field_and_everything_typed_is_kept(
    browser: Person, lab: WatchedLab, typed: str
) -> None:
    answer = browser("manager").post("/flags/limits", data={"no_move_days": typed, "told_days": "7"})
    page = read(answer.text)
    assert answer.status_code == 422
    assert page.wrong == {"no_move_days"}
    assert 'href="#f-no_move_days"' in answer.text
    assert "No move for too long: a whole number of working days from 0 to 250" in answer.text
    assert (page.values["no_move_days"], page.values["told_days"]) == (typed, "7")
    assert (own(lab), journal(lab)) == ({}, [])


def test_a_number_of_times_below_one_is_refused(browser: Person, lab: WatchedLab) -> None:
    answer = browser("manager").post("/flags/limits", data={"sent_back_times": "0"})
    assert "a whole number of times from 1 to 50" in answer.text


def test_only_a_manager_is_led_there(browser: Person, lab: WatchedLab) -> None:
    assert 'href="/flags/limits"' in browser("manager").get("/flags").text
    assert 'href="/flags/limits"' in browser("manager").get("/lab").text
    assert "/flags/limits" not in browser("technician").get("/flags").text
    assert browser("technician").post("/flags/limits", data={"no_move_days": "1"}).status_code == 403
    assert own(lab) == {}
