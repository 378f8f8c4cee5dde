"""Approval and payment, without amounts: noted, journalled, and waited for where the clinic wants it."""

from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from app.database import Database
from app.errors import BadInput, Unready
from app.journal.tables import Entry, Note
from app.orders import actions as orders
from app.orders.tables import Order
from app.people.tables import Clinic
from tests.bench.conftest import Lab
from tests.desks.conftest import app, browser, house
from tests.paperwork.conftest import A5, print_sheet

__all__ = ["app", "browser", "house"]
Browser = Callable[[str], TestClient]


@pytest.fixture
def lab(database: Database, house: object) -> Lab:
    return Lab(database, house)  # type: ignore[arg-type]


def note(lab: Lab, code: str, **raw: str) -> None:
    with lab.database.writing() as db:
        orders.note_dues(db, by=lab.house.viewer("clinician"), order_id=lab.row(code)["order_id"], raw=raw)


def waits_for(lab: Lab, *what: str) -> None:
    with lab.database.writing() as db:
        db.get_one(Clinic, lab.house.clinics["house"]).waits_for = list(what)


def test_an_open_payment_stops_the_dispensing_where_the_clinic_wants_it(lab: Lab) -> None:
    code = lab.order()
    lab.walk(code, "dispense")
    waits_for(lab, "payment", "approval")
    with pytest.raises(Unready, match="when the payment is settled"):
        lab.act(code, "dispense", by="clinician")
    note(lab, code, approval="asked", payment="deposit")
    with pytest.raises(Unready, match="approval and the payment"):
        lab.act(code, "dispense", by="clinician")
    note(lab, code, approval="given", number="A 17", on="2026-01-05", payment="waived")
    lab.act(code, "dispense", by="clinician")
    assert lab.at(code).stage == "wear_in"


def test_a_clinic_that_waits_for_nothing_dispenses_whatever_is_open(lab: Lab) -> None:
    code = lab.order()
    lab.walk(code, "dispense")
    note(lab, code, approval="asked", payment="none")
    lab.act(code, "dispense", by="clinician")


def test_it_is_journalled_with_old_and_new_and_the_number_in_a_note(lab: Lab) -> None:
    code = lab.order()
    note(lab, code, payment="deposit")
    note(lab, code, payment="deposit")
    note(lab, code, approval="given", number="A 17", on="2026-01-05", payment="paid")
    with lab.database.reading() as db:
        entries = db.exec(select(Entry).where(Entry.what == "dues_noted")).all()
        words = [each.words for each in db.exec(select(Note)) if each.words]
        stored = db.exec(select(Order)).one().dues
    assert [entry.facts["payment"] for entry in entries] == [[None, "deposit"], ["deposit", "paid"]]
    assert not any("A 17" in str(entry.facts) for entry in entries)
    assert "number: - → A 17" in words
    assert stored["number"] == "A 17"


@pytest.mark.parametrize(
    ("raw", "field"),
    [
        ({"payment": "later"}, "dues.payment"),
        ({"approval": "given", "on": "2999-01-01"}, "dues.on"),
        ({"approval": "given", "on": "soon"}, "dues.on"),
        ({"approval": "given", "number": "9" * 61}, "dues.number"),
        ({"amount": "12"}, "dues.amount"),
    ],
)
def test_what_can_t_be_is_refused_at_its_field(lab: Lab, raw: dict[str, str], field: str) -> None:
    code = lab.order()
    with pytest.raises(BadInput) as refusal:
        note(lab, code, **raw)
    assert list(refusal.value.fields) == [field]


def test_the_clinician_notes_it_on_the_pair_s_page_and_prints_the_receipt(lab: Lab, browser: Browser) -> None:
    code = lab.order(sides="R")
    lab.walk(code, "dispense")
    clinician = browser("clinician")
    assert "Approval and payment" in clinician.get(f"/pair/{code}").text
    assert "Approval and payment" not in browser("technician").get(f"/pair/{code}").text
    wrong = clinician.post(f"/pair/{code}/dues", data={"dues.approval": "given", "dues.on": "soon"})
    assert wrong.status_code == 422
    assert 'value="soon"' in wrong.text
    assert clinician.post(f"/pair/{code}/dues", data={"dues.payment": "paid"}).status_code == 303
    paper = print_sheet(clinician, f"/paper/{code}/receipt.pdf")
    assert (paper.pages, paper.size_mm) == (1, A5)
    assert "RIGHT ONLY" in paper.words
    assert "custom foot orthosis, polypropylene with a cover of EVA" in paper.words
