"""What comes and goes, by page: arrivals and parcels with their exceptions."""

from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient

from app.database import Database
from tests.bench.conftest import Lab
from tests.house import House

Browser = Callable[[str], TestClient]


@pytest.fixture
def lab(database: Database, house: House) -> Lab:
    return Lab(database, house)


def test_a_box_is_logged_matched_and_gone_from_the_list(browser: Browser, lab: Lab) -> None:
    technician, code = browser("technician"), lab.order()
    assert technician.post("/arrivals", data={"kind": "", "sides": "LR"}).status_code == 422
    logged = {"kind": "foam", "sides": "LR", "label": "MR 2210", "shelf": "C3"}
    assert technician.post("/arrivals", data=logged).status_code == 303
    page = technician.get("/arrivals").text
    assert "MR 2210" in page
    match = {"act": "match", "arrival": "1", "sides": "LR", "code": "26-99999-X"}
    wrong = technician.post("/arrivals", data=match)
    assert wrong.status_code == 404
    assert 'value="26-99999-X"' in wrong.text
    assert technician.post("/arrivals", data=match | {"code": code}).status_code == 303
    assert "Everything that came is matched" in technician.get("/arrivals").text
    assert "foam impression, arrived, shelf C3" in technician.get(f"/pair/{code}").text


def test_a_parcel_is_packed_from_a_list_and_received_with_its_exceptions(browser: Browser, lab: Lab) -> None:
    codes = [lab.order(by="quay clinician", clinic="quay", label=f"Q {n}") for n in range(3)]
    for code in codes:
        lab.walk(code, "send", "quay clinician")
    technician, clinician = browser("technician"), browser("quay clinician")
    listed = technician.get("/parcels").text
    assert all(code in listed for code in codes)
    form = {"clinic_id": lab.house.clinics["quay"], "to_clinic": "yes", "codes": codes, "carrier": "the van"}
    assert technician.post("/parcels", data=form | {"codes": []}).status_code == 422
    assert technician.post("/parcels", data=form).status_code == 303
    again = technician.post("/parcels", data=form)
    assert again.status_code == 409
    assert "stands at &#39;To receive&#39;" in again.text
    assert "is missing" not in technician.get("/parcels").text, "the lab sees it and does not receive it"
    assert browser("parcel clinician").get("/parcels").text.count(codes[0]) == 0
    arrived = clinician.post("/parcels/1", data={f"came.{codes[0]}": "missing", f"came.{codes[1]}": "well"})
    assert arrived.status_code == 303
    assert lab.at(codes[0]).stage == "receive"
    assert {lab.at(code).stage for code in codes[1:]} == {"dispense"}
    assert "No parcels" in clinician.get("/parcels").text
