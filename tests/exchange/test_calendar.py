"""The calendar at a secret address: whose reviews are in it, what is said of them, and who gets nothing."""

from collections.abc import Callable
from datetime import UTC, date, datetime

import httpx2
from fastapi import FastAPI
from fastapi.testclient import TestClient
from icalendar import Calendar

from app.database import Database
from app.people import actions
from tests.bench.conftest import Lab
from tests.people.conftest import visitor

Later = Callable[..., None]


def make(database: Database, lab: Lab, who: str) -> str:
    with database.writing() as db:
        return actions.make_calendar(db, by=lab.house.viewer(who))


def get(app: FastAPI, secret: str) -> httpx2.Response:
    """By a calendar program, which is signed in nowhere."""
    return visitor(app).get(f"/calendar/{secret}.ics")


def events(answer: httpx2.Response) -> list[tuple[str, object]]:
    assert answer.status_code == 200, answer.text
    return [(str(e["SUMMARY"]), e.decoded("DTSTART")) for e in Calendar.from_ical(answer.content).walk("VEVENT")]


def test_a_clinician_s_calendar_has_the_reviews_of_the_own_clinics_and_no_name(
    app: FastAPI, database: Database, lab: Lab, monday: datetime
) -> None:
    code = lab.order(label="QX 7731", wearer={"name": "Elestren Polmear"})
    lab.walk(code, "wear_in")
    secret = make(database, lab, "clinician")
    first = get(app, secret)
    assert first.headers["content-type"] == "text/calendar; charset=utf-8"
    assert events(first) == [(f"Review {code}", date(2027, 1, 25))]
    assert events(get(app, make(database, lab, "quay clinician"))) == []

    lab.act(code, "book", by="clinician", facts={"at": "2027-01-26T10:30", "what": "review"})
    second = get(app, secret)
    assert events(second) == [(f"Review {code}", datetime(2027, 1, 26, 10, 30, tzinfo=UTC))]
    (was,), (now,) = (Calendar.from_ical(each.content).walk("VEVENT") for each in (first, second))
    assert (now["UID"], now["LOCATION"]) == (was["UID"], "Harbour Steps")
    assert now.decoded("SEQUENCE") > was.decoded("SEQUENCE")
    assert now.decoded("LAST-MODIFIED") >= was.decoded("LAST-MODIFIED")
    for word in ("Elestren", "Polmear", "QX", "7731"):
        assert word not in second.text


def test_a_review_that_was_held_leaves_it_and_one_far_off_is_not_in_it_yet(
    app: FastAPI, database: Database, lab: Lab, monday: datetime, later: Later
) -> None:
    held, waits = lab.order(), lab.order(label="MR 2211")
    lab.walk(held, "wear_in")
    lab.walk(waits, "wear_in")
    secret = make(database, lab, "clinician")
    lab.act(held, "settle", by="clinician")
    assert [title for title, _ in events(get(app, secret))] == [f"Review {waits}"]
    later(days=20)
    assert len(events(get(app, secret))) == 1, "overdue since a few days, and still to be held"
    later(days=10)
    assert events(get(app, secret)) == []


def test_a_wearer_who_comes_once_with_two_pairs_is_one_event_until_one_of_them_comes_at_another_time(
    app: FastAPI, database: Database, lab: Lab, monday: datetime
) -> None:
    pairs = [lab.order(shoe={"kind": kind}, wearer={"name": "Ottoline Farrow"}) for kind in ("walking", "sports")]
    for code in pairs:
        lab.walk(code, "wear_in")
    secret = make(database, lab, "clinician")
    lab.act(pairs[0], "book", by="clinician", facts={"at": "2027-01-26T10:30", "also": [pairs[1]]})
    assert events(get(app, secret)) == [
        (f"Review {pairs[0]} and {pairs[1]}", datetime(2027, 1, 26, 10, 30, tzinfo=UTC))
    ]
    lab.act(pairs[1], "book", by="clinician", facts={"at": "2027-01-27T10:30"})
    assert [title for title, _ in events(get(app, secret))] == [f"Review {code}" for code in pairs]


def test_an_address_that_was_replaced_ended_or_whose_owner_left_leads_nowhere(
    app: FastAPI, database: Database, lab: Lab, browser: Callable[[str], TestClient]
) -> None:
    me, manager = lab.house.viewer("clinician"), lab.house.viewer("manager")
    first = make(database, lab, "clinician")
    second = make(database, lab, "clinician")
    assert [get(app, secret).status_code for secret in (first, second)] == [404, 200]
    assert browser("clinician").post("/me/told/calendar/end").status_code == 303
    assert get(app, second).status_code == 404
    third = make(database, lab, "clinician")
    with database.writing() as db:
        actions.change_staff(db, by=manager, staff_id=me.staff_id, roles=["technician"], clinics=[])
    assert get(app, third).status_code == 404, "who is no clinician any more"
    with database.writing() as db:
        clinics = [lab.house.clinics["house"]]
        actions.change_staff(db, by=manager, staff_id=me.staff_id, roles=["clinician"], clinics=clinics)
    assert get(app, third).status_code == 200
    with database.writing() as db:
        actions.end_access(db, by=manager, staff_id=me.staff_id)
    assert get(app, third).status_code == 404


def test_trying_addresses_is_slowed_down_and_those_that_work_go_on(
    app: FastAPI, database: Database, lab: Lab, later: Later
) -> None:
    secret = make(database, lab, "clinician")
    answers = [get(app, f"guess-{number}").status_code for number in range(42)]
    assert answers == [404] * 40 + [429] * 2
    assert get(app, secret).status_code == 200
    later(minutes=16)
    assert get(app, "guess").status_code == 404
