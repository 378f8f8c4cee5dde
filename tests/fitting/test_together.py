"""A wearer with two pairs in wearing in: one budget of hours a day, one appointment, one review after the other."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import col, select

from app.bench.tables import Move
from app.errors import BadInput
from app.fitting import actions
from app.fitting.rules import plan
from app.fitting.tables import Contact, Review
from app.people.tables import Clinic
from tests.bench.conftest import Lab
from tests.house import program
from tests.people.conftest import visitor

OnDay = Callable[[date], None]
Browser = Callable[[str], TestClient]
FIRST, NINTH, DUE = date(2027, 3, 3), date(2027, 3, 11), date(2027, 3, 17)
AT = "2027-03-17T14:00"


def two(lab: Lab, on_day: OnDay, second_on: date = FIRST) -> list[str]:
    """Everyday and sports pairs of one wearer; the second is dispensed later if it is asked for."""
    on_day(FIRST)
    pairs = [lab.order(shoe={"kind": kind}, wearer={"name": "Ottoline Farrow"}) for kind in ("walking", "sports")]
    lab.walk(pairs[0], "wear_in")
    on_day(second_on)
    lab.walk(pairs[1], "wear_in")
    return pairs


def appointments(lab: Lab) -> list[str | None]:
    with lab.database.reading() as db:
        rows = db.exec(select(Review.appointment).where(Review.state == "open").order_by(col(Review.pair_id)))
        return [at.isoformat()[:16] if at else None for at in rows]


def booked(lab: Lab, on_day: OnDay) -> list[str]:
    pairs = two(lab, on_day)
    lab.act(pairs[0], "book", by="clinician", facts={"at": AT, "also": [pairs[1]]})
    return pairs


# The rule of the hours.


def days(first: date, *minutes: int) -> list[plan.PlanDay]:
    return [(n, first + timedelta(days=n - 1), each, False) for n, each in enumerate(minutes, 1)]


def test_pairs_that_begin_together_share_the_hours_of_one_and_do_not_add_them_up() -> None:
    same = days(FIRST, 60, 120, 180)
    assert list(plan.together([same, same]).values()) == [60, 120, 180]


def test_a_pair_that_comes_later_neither_sets_the_hours_back_nor_adds_to_them() -> None:
    old, new = days(FIRST, 60, 120, 180, 240), days(FIRST + timedelta(days=2), 30, 60, 90, 120, 150)
    # By hand: the first alone, then the first, which stays at 240 past its last day while the second is below it.
    assert list(plan.together([new, old]).values()) == [60, 120, 180, 240, 240, 240, 240]


def test_days_are_numbered_as_each_plan_counts_them() -> None:
    hurt = {FIRST, NINTH}
    assert plan.numbers_of(FIRST, hurt) == {1, 9}
    assert plan.numbers_of(NINTH, hurt) == {1}, "before its first day a pair hurt nobody"


def read(lab: Lab, browser: Browser, code: str) -> str:
    return " ".join(browser("clinician").get(f"/pair/{code}").text.replace("\u00a0", " ").split())


def test_the_pair_s_page_and_the_printed_sheet_say_that_the_hours_are_of_all_pairs(
    browser: Browser, lab: Lab, on_day: OnDay
) -> None:
    pairs = two(lab, on_day)
    says = "These hours count for all your pairs together (everyday shoes and sports shoes)."
    for code in pairs:
        assert says in read(lab, browser, code)
        sheet = browser("clinician").get(f"/paper/{code}/wearing").text
        assert says in sheet
        assert "Ottoline" not in sheet
        spanish = browser("clinician").get(f"/paper/{code}/wearing?language=es&size=large").text
        assert "todos sus pares juntos (zapatos de diario y zapatillas de deporte)" in spanish
    lab.act(pairs[1], "settle", by="clinician")
    assert "all your pairs" not in read(lab, browser, pairs[0]), "who wears in one pair alone reads nothing of it"


def test_a_second_pair_begins_anew_within_the_hours_that_the_first_has_come_to(
    browser: Browser, lab: Lab, on_day: OnDay
) -> None:
    on_day(FIRST)
    first, second = (lab.order(shoe={"kind": kind}) for kind in ("walking", "sports"))
    lab.walk(first, "wear_in")
    on_day(NINTH)
    lab.walk(second, "dispense")
    form = read(lab, browser, second)
    assert "its hours go on as they are" in form
    assert f"{first}</a>, day 9" in form
    lab.walk(second, "wear_in")
    assert "Today all together 8 h" in read(lab, browser, second)
    sheet = " ".join(browser("clinician").get(f"/paper/{second}/wearing").text.replace("\u00a0", " ").split())
    assert '<span class="hours">1 h</span> <span class="more">all pairs 8 h</span>' in sheet
    assert "This pair is new: wear it for no longer than its own hours" in sheet
    calendar = browser("clinician").get(f"/paper/{second}/wearing.ics").text.replace("\xa0", " ")
    assert "Orthoses: 1 h at most\\; all pairs together 8 h" in calendar
    assert "This pair is new" not in browser("clinician").get(f"/paper/{first}/wearing").text


def test_the_wearer_s_own_page_tells_it_and_what_hurt_in_one_pair_holds_the_hours_of_both(
    app: FastAPI, lab: Lab, on_day: OnDay
) -> None:
    pairs = two(lab, on_day, second_on=date(2027, 3, 5))
    with lab.database.writing() as db:
        clinic = db.get_one(Clinic, lab.house.clinics["house"])
        clinic.wearer_pages, clinic.phone = True, "01 555 020"
    with lab.database.writing() as db:
        links = [actions.give_page(db, code=code, by=lab.house.viewer("clinician")) for code in pairs]

    def own(number: int) -> str:
        return " ".join(visitor(app).get(f"/w/{links[number]}").text.replace("\u00a0", " ").split())

    assert "Wear them for 3 h at most" in own(0)
    new = own(1)
    for words in ("Wear them for 1 h at most", "All pairs together 3 h.", "(everyday shoes and sports shoes)"):
        assert words in new
    for secret in ("MR 2210", "Ottoline", *pairs):
        assert secret not in new
    visitor(app).post(f"/w/{links[0]}", data={"comfort": "1"})
    on_day(date(2027, 3, 6))
    assert "Wear them for 3 h at most" in own(0)
    assert "Wear them for 1 h at most" in own(1)
    visitor(app).post(f"/w/{links[1]}", data={"skin": "red_flag"})
    assert "Stop wearing them and call your clinic now" in own(0), "the feet are the same"


# One appointment.


def test_one_act_books_both_pairs_and_moves_them_each_with_a_move_of_its_own(lab: Lab, on_day: OnDay) -> None:
    pairs = booked(lab, on_day)
    assert appointments(lab) == [AT, AT]
    lab.act(pairs[1], "book", by="clinician", facts={"at": "2027-03-18T09:15", "also": [pairs[0].replace("-", "")]})
    assert appointments(lab) == ["2027-03-18T09:15"] * 2
    with lab.database.reading() as db:
        moves = db.exec(select(Move.pair_id).where(Move.act == "book")).all()
        assert db.exec(select(Contact.kind, Contact.what)).all() == [("booked", "review")] * 4
    assert sorted(moves) == sorted([lab.row(code)["id"] for code in pairs] * 2)
    assert {lab.row(code)["due_on"] for code in pairs} == {date(2027, 3, 18)}
    lab.act(pairs[0], "book", by="clinician", facts={"at": AT})
    assert appointments(lab) == [AT, "2027-03-18T09:15"], "without the other one it is moved alone"


def test_lists_say_which_pairs_come_together(lab: Lab, on_day: OnDay, browser: Callable[[str], TestClient]) -> None:
    first, second = booked(lab, on_day)
    on_day(date(2027, 3, 17))
    for path in ("/reviews", "/"):
        read = browser("clinician").get(path).text
        for one, other in ((first, second), (second, first)):
            assert f"together with {other}" in read.partition(f"/pair/{one}")[2][:900]


@pytest.mark.parametrize("stranger", ["another wearer's", "settled", "itself", "nothing", [{}]])
def test_an_appointment_is_for_no_pair_but_the_wearer_s_own_that_are_open_for_review(
    lab: Lab, on_day: OnDay, stranger: Any
) -> None:
    pairs = two(lab, on_day)
    other = lab.order(label="MR 9")
    lab.walk(other, "wear_in")
    if stranger == "settled":
        lab.act(pairs[1], "settle", by="clinician")
    codes = {"another wearer's": [other], "settled": [pairs[1]], "itself": [pairs[0]]}
    with pytest.raises(BadInput) as refusal:
        lab.act(pairs[0], "book", by="clinician", facts={"at": AT, "also": codes.get(str(stranger), stranger)})
    assert set(refusal.value.fields) == {"also"}
    assert set(appointments(lab)) == {None}


def test_one_key_sent_twice_books_both_once(app: FastAPI, lab: Lab, on_day: OnDay) -> None:
    pairs = two(lab, on_day)
    clinician = program(app, lab.house.people["clinician"])
    body = {"act": "book", "from_stage": "wear_in", "facts": {"at": AT, "what": "review", "also": [pairs[1]]}}
    sent = [
        clinician.post(f"/api/v1/pairs/{pairs[0]}/acts", json=body, headers={"idempotency-key": "one appointment"})
        for _ in range(2)
    ]
    assert [each.status_code for each in sent] == [200, 200]
    assert sent[0].json() == sent[1].json()
    with lab.database.reading() as db:
        assert len(db.exec(select(Move).where(Move.act == "book")).all()) == 2
    assert appointments(lab) == [AT, AT]


def test_who_did_not_come_did_not_come_with_either_pair(lab: Lab, on_day: OnDay) -> None:
    pairs = booked(lab, on_day)
    on_day(date(2027, 3, 18))
    lab.act(pairs[1], "no_show", by="clinician", facts={"words": "Bus strike"})
    assert appointments(lab) == [None, None]
    with lab.database.reading() as db:
        rows = db.exec(select(Contact.pair_id, Contact.kind).where(Contact.kind == "no_show")).all()
    assert sorted(pair_id for pair_id, _ in rows) == sorted(lab.row(code)["id"] for code in pairs)
    assert {lab.row(code)["due_on"] for code in pairs} == {DUE}


def test_a_pair_that_comes_at_another_time_keeps_its_appointment(lab: Lab, on_day: OnDay) -> None:
    pairs = booked(lab, on_day)
    lab.act(pairs[1], "book", by="clinician", facts={"at": "2027-03-22T09:00"})
    on_day(date(2027, 3, 18))
    lab.act(pairs[0], "no_show", by="clinician")
    assert appointments(lab) == [None, "2027-03-22T09:00"]


def test_the_form_offers_the_other_pair_ticked_and_the_agenda_counts_one_who_comes(
    browser: Browser, lab: Lab, on_day: OnDay
) -> None:
    pairs = two(lab, on_day)
    clinician = browser("clinician")
    page = clinician.get(f"/pair/{pairs[0]}").text
    assert f'value="{pairs[1]}" checked' in " ".join(page.split())
    assert f"{pairs[1]}, sports shoe, due on Wed" in page.replace("\u00a0", " ")
    form = {"act": "book", "from_stage": "wear_in", "what": "review", "at": AT, "also": [pairs[1]]}
    assert clinician.post(f"/pair/{pairs[0]}/acts", data=form).status_code == 303
    agenda = clinician.get("/reviews/agenda").text.replace("\u00a0", " ")
    row = agenda[agenda.index("Wed 17 Mar") :].partition("</tr>")[0]
    assert row.count('class="one"') == 1
    assert row.count("14:00") == 1
    assert all(code in row for code in pairs)
    assert f"Noted for {pairs[1]}, too" in clinician.get(f"/pair/{pairs[0]}").text


def test_the_review_of_one_pair_leads_on_to_the_next_at_the_same_appointment(
    browser: Browser, lab: Lab, on_day: OnDay
) -> None:
    pairs = booked(lab, on_day)
    on_day(DUE)
    clinician = browser("clinician")

    def hold(code: str, act: str) -> str:
        answer = clinician.post(f"/pair/{code}/acts", data={"act": act, "from_stage": "wear_in"})
        return str(answer.headers["location"])

    assert hold(pairs[1], "keep_wearing") == f"/pair/{pairs[0]}#fitting"
    assert hold(pairs[0], "settle") == f"/pair/{pairs[0]}", "the other one's new review is for another day"
    assert hold(pairs[1], "settle") == f"/pair/{pairs[1]}"
