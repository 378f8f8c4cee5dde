"""The journal page: who did and saw what, told in words, found by person, kind, days, and pair or chart label."""

import ast
import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import update
from sqlmodel import col

from app import clock
from app.database import Database
from app.journal import actions as journal
from app.journal.rules import KINDS
from app.journal.tables import Note
from app.people import actions as people
from app.people.rules import NoSignOn, hash_of
from app.settings import ROOT
from tests.bench.conftest import Lab
from tests.desks.test_query_count import counted
from tests.house import House
from tests.people.forms import read

Browser = Callable[[str], TestClient]
MONDAY = datetime(2027, 1, 11, 9, tzinfo=UTC)


@pytest.fixture
def lab(database: Database, house: House) -> Lab:
    clock.set_shift(MONDAY - datetime.now(UTC))
    return Lab(database, house)


def lines(client: TestClient, **asked: Any) -> list[str]:
    """Each entry on the page as it reads, without its marks."""
    answer = client.get("/journal", params=asked)
    assert answer.status_code == 200, answer.text
    log = answer.text.partition('<ol class="log"')[2].partition("</ol>")[0]
    return [" ".join(re.sub("<[^>]+>", " ", part).split()) for part in log.split("<li>")[1:]]


def refused_in_a_row(database: Database, number: int) -> None:
    with database.writing() as db:
        for _ in range(number):
            people.failed(db)


def test_reading_a_record_and_a_changed_setting_are_told_with_person_time_and_old_and_new(
    browser: Browser, lab: Lab
) -> None:
    code = lab.order(wearer={"name": "Lowen Tregear"})
    browser("clinician").get(f"/pair/{code}")
    manager = browser("manager")
    manager.post("/flags/limits", data={"no_move_days": "5"})
    limits, seen, prescribed, entered = lines(manager)
    assert limits == (
        "Manager changed limits of the lab No move for too long, working days without any act on a pair: — → 5 "
        "Mon 11 Jan 9:00"
    )
    assert seen == "Clinician read the record of MR 2210 Mon 11 Jan 9:00"
    assert prescribed == f"Clinician prescribed for {code} version: 1 Mon 11 Jan 9:00"
    assert entered.startswith("Clinician entered the wearer MR 2210 fields: name")
    assert "Lowen" not in manager.get("/journal").text, "a manager sees chart labels"


def test_signing_on_at_a_tablet_and_being_refused_there_are_told_with_the_tablet_s_name(
    browser: Browser, lab: Lab
) -> None:
    me, manager = lab.house.people["technician"], lab.house.viewer("manager")
    with lab.database.writing() as db:
        secret = people.enrol(db, by=manager, name="Press bench")
        badge = people.make_badge(db, by=manager, staff_id=me)
        this = people.count_sign_on(db, tablet_hash=hash_of(secret), badge=badge)
        people.refuse_sign_on(db, this=this, why=NoSignOn.WRONG_PIN, whose=me)
    assert lines(browser("manager")) == [
        "Someone who was not signed in was refused at signing on at Press bench "
        "reason: wrong PIN; badge of: Technician Mon 11 Jan 9:00",
        "Manager made a badge for Technician Mon 11 Jan 9:00",
        "Manager enrolled the tablet Press bench Mon 11 Jan 9:00",
    ]


def test_times_are_the_lab_s_own(browser: Browser, lab: Lab) -> None:
    clock.set_shift(datetime(2027, 7, 5, 23, 30, tzinfo=UTC) - datetime.now(UTC))
    refused_in_a_row(lab.database, 1)
    assert lines(browser("manager")) == ["Someone who was not signed in was refused at signing in Tue 6 Jul 0:30"]


def test_words_are_shown_until_they_are_erased(browser: Browser, lab: Lab) -> None:
    lab.order()
    patient = lab.row(lab.order())["patient_id"]
    with lab.database.writing() as db:
        note = journal.keep_words(db, "the <b>wearer</b> is away", patient)
        journal.write(db, "flag_acknowledged", by=1, subject="patient", subject_id=patient, note=note)
    manager = browser("manager")
    assert "<q>the &lt;b&gt;wearer&lt;/b&gt; is away</q>" in manager.get("/journal?kind=flag_acknowledged").text
    with lab.database.writing() as db:
        db.execute(update(Note).where(col(Note.patient_id) == patient).values(words=None))
    page = manager.get("/journal?kind=flag_acknowledged").text
    assert "is away" not in page
    assert "acknowledged a flag on" in page


def test_it_is_found_by_person_by_kind_and_by_both(browser: Browser, lab: Lab) -> None:
    code, manager = lab.order(), browser("manager")
    browser("clinician").get(f"/pair/{code}")
    browser("practitioner").get(f"/pair/{code}")
    clinician = lab.house.people["clinician"]
    assert {line.split()[0] for line in lines(manager, person=clinician)} == {"Clinician"}
    assert len(lines(manager, kind="patient_read")) == 2
    assert len(lines(manager, kind="patient_read", person=clinician)) == 1
    page = read(manager.get("/journal", params={"kind": "patient_read", "person": clinician}).text)
    assert (page.values["kind"], page.values["person"]) == ("patient_read", str(clinician)), "what was chosen stays"
    assert lines(manager, kind="patient_read", person=lab.house.people["technician"]) == []
    assert "Nothing of this in the journal" in manager.get("/journal?kind=token_ended").text


def test_it_is_found_by_days_in_the_lab_s_zone_both_ends_included(browser: Browser, lab: Lab) -> None:
    for day in range(4):
        clock.set_shift(MONDAY + timedelta(days=day) - datetime.now(UTC))
        refused_in_a_row(lab.database, 1)
    manager = browser("manager")

    def days(**asked: str) -> list[str]:
        return [line.split()[-3] for line in lines(manager, **asked)]

    assert days() == ["14", "13", "12", "11"]
    assert days(**{"from": "2027-01-12", "to": "2027-01-13"}) == ["13", "12"]
    assert days(**{"from": "2027-01-14"}) == ["14"]
    assert days(to="2027-01-11") == ["11"]
    assert days(**{"from": "2027-01-15"}) == []
    assert days(to="2027-01-10") == []


def test_a_pair_s_code_finds_what_concerns_it_and_leads_to_its_own_log(browser: Browser, lab: Lab) -> None:
    code, other = lab.order(), lab.order(label="MR 1")
    for each in (code, other):
        lab.walk(each, "press")
    clinician, manager = browser("clinician"), browser("manager")
    clinician.get(f"/pair/{code}")
    told = lines(manager, about=code.lower())
    assert {" ".join(line.split()[1:3]) for line in told} == {
        "read the",
        "accepted the",
        "prescribed for",
        "entered the",
    }
    assert not any("MR 1 " in line or other in line for line in told)
    page = manager.get("/journal", params={"about": code}).text
    assert f'<a href="/pair/{code}">What happened to {code}</a>' in page
    assert "is a log of its own" in page
    assert lines(manager, about="mr2210") == told, "the chart label is the same wearer's"


def test_a_wearer_s_second_pair_and_void_captures_are_found_by_the_chart_label(browser: Browser, lab: Lab) -> None:
    first, second = lab.order(), lab.order()
    lab.act(first, "advance")
    lab.act(first, "recapture", sides="L", reason="broken")
    told = lines(browser("manager"), about="MR 2210")
    assert sum("prescribed for" in line for line in told) == 2
    assert any("declared void the capture of MR 2210, left reason: broken" in line for line in told)
    assert not any(second in line for line in lines(browser("manager"), about=first))


@pytest.mark.parametrize(
    ("asked", "field", "sentence"),
    [
        ({"about": "MR 999"}, "about", "no wearer the chart label"),
        ({"about": "26-00417-X"}, "about", "check character"),
        ({"from": "yesterday"}, "from", "A day reads like"),
        ({"from": "2027-01-12", "to": "2027-01-11"}, "to", "The last day is before the first."),
    ],
)
def test_a_filter_that_can_t_be_is_named_at_its_field_and_kept(
    browser: Browser, lab: Lab, asked: dict[str, str], field: str, sentence: str
) -> None:
    answer = browser("manager").get("/journal", params=asked | {"kind": "signed_in"})
    page = read(answer.text)
    assert answer.status_code == 422
    assert page.wrong == {field}
    assert sentence in answer.text
    assert page.values | asked | {"kind": "signed_in"} == page.values


@pytest.mark.parametrize(
    "asked", ["person=x", "person=99999", "kind=rain", "before=x", "before=" + "9" * 30, "about=%00"]
)
def test_an_address_that_was_tampered_with_is_answered_with_a_page(browser: Browser, lab: Lab, asked: str) -> None:
    assert browser("manager").get(f"/journal?{asked}").status_code == 200


def test_older_and_newer_lead_through_all_of_it_and_back_with_the_filters_kept(browser: Browser, lab: Lab) -> None:
    refused_in_a_row(lab.database, 120)
    lab.order()
    manager = browser("manager")

    def shown(address: str) -> tuple[int, dict[str, str]]:
        page = manager.get(address).text
        ways = {words: href.replace("&amp;", "&") for href, words in re.findall(r'href="([^"]+)">(Newer|Older)<', page)}
        return page.count("<li>") - page.partition('<ol class="log"')[0].count("<li>"), ways

    counts, address = [], "/journal?kind=sign_in_refused"
    ways: dict[str, str] = {}
    while address:
        count, ways = shown(address)
        counts.append(count)
        address = ways.get("Older", "")
    assert counts == [50, 50, 20]
    count, ways = shown(ways["Newer"])
    assert (count, set(ways)) == (50, {"Newer", "Older"})
    count, ways = shown(ways["Newer"])
    assert (count, set(ways)) == (50, {"Older"})


def test_fifty_entries_take_no_more_statements_than_a_few(app: FastAPI, browser: Browser, lab: Lab) -> None:
    manager, clinician = browser("manager"), browser("clinician")

    def some(number: int) -> None:
        code = lab.order(label=f"MR {number}")
        lab.act(code, "advance")
        clinician.get(f"/pair/{code}")

    some(0)
    with counted(app) as for_few:
        few = len(lines(manager))
    for number in range(1, 12):
        some(number)
    with counted(app) as for_many:
        assert len(lines(manager)) > 8 * few
    assert 0 < len(for_many) <= len(for_few) <= 12


def test_only_who_may_see_the_journal_is_let_in(browser: Browser, lab: Lab) -> None:
    code = lab.order()
    assert f'href="/journal?about={code}"' in browser("manager").get(f"/pair/{code}").text
    assert "/journal" not in browser("clinician").get(f"/pair/{code}").text
    assert browser("clinician").get("/journal").status_code == 403


def test_every_kind_of_entry_that_the_house_writes_has_words() -> None:
    """Read from the calls themselves, so that a new kind can't be forgotten; those made at run time are named here."""
    written = {f"arrival_{became}" for became in ("matched", "split", "returned")}
    written |= {"clinic_added", "clinic_changed", "lab_changed", "limits_changed", "patient_added", "patient_changed"}
    written |= {"positive_broken", "positive_thrown_away", "start_kept", "start_renamed", "start_thrown_away"}
    written |= {"flag_put_off", "flag_acknowledged", "lot_told", "lot_returned", "material_added", "material_changed"}
    written |= {"wearer_noted", "wearer_red_flag", "plan_added", "plan_changed", "plan_ended"}
    for path in Path(ROOT / "app").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call) and ast.unparse(node.func) == "journal.write":
                what = node.args[1]
                written |= {str(what.value)} if isinstance(what, ast.Constant) else set()
    assert written - set(KINDS) == set(), "kinds without words"
    assert set(KINDS) - written == set(), "words of kinds that nobody writes"
