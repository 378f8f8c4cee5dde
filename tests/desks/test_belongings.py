"""What came with a pair, from the box it came in to the day somebody says what became of it."""

from collections.abc import Callable
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from app.database import Database
from app.journal.tables import Entry
from tests.bench.conftest import Lab
from tests.house import FITS, House

Person = Callable[[str], TestClient]


@pytest.fixture
def lab(database: Database, house: House) -> Lab:
    return Lab(database, house)


def brought(lab: Lab, *kinds: str, until: str = "", clinic: str = "house", by: str = "clinician") -> str:
    """A pair with which this came in the box."""
    code = lab.order(by=by, clinic=clinic)
    lab.act(code, "advance", facts={"belongings": list(kinds)})
    if until:
        lab.walk(code, until, by)
    return code


def things(program: Person, code: str, who: str = "technician") -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = program(who).get(f"/api/v1/pairs/{code}").json()["belongings"]
    return found


def fate(who: TestClient, code: str, number: int, becomes: str, **more: str) -> Any:
    return who.post(f"/pair/{code}/belongings/{number}", data={"becomes": becomes, **more})


def written(lab: Lab, what: str) -> list[dict[str, Any]]:
    with lab.database.reading() as db:
        return [entry.facts for entry in db.exec(select(Entry).where(Entry.what == what))]


def test_a_technician_says_what_became_of_each(browser: Person, program: Person, lab: Lab) -> None:
    technician, code = browser("technician"), brought(lab, "shoes", "liners", "tracing")
    page = technician.get(f"/pair/{code}").text
    assert "The shoe&#39;s own insoles (liners)" in page
    assert page.count("at the lab, to go back") == 3
    assert "in the parcel with its pair" not in page, "it is in no parcel"
    shoes, liners, tracing = (each["id"] for each in things(program, code))
    assert fate(technician, code, shoes, "to_wearer").status_code == 303
    assert fate(technician, code, liners, "thrown_away").status_code == 303
    assert fate(technician, code, tracing, "kept", shelf=" B2 ").status_code == 303
    assert [(each["becomes"], each["place"], each["shelf"]) for each in things(program, code)] == [
        ("to_wearer", "wearer", None),
        ("thrown_away", "gone", None),
        ("kept", "lab", "B2"),
    ]
    page = technician.get(f"/pair/{code}").text
    assert "kept at the lab, on a shelf B2" in page
    assert "thrown away, with the wearer&#39;s consent" in page
    assert "at the lab, to go back" not in page
    assert [facts["becomes"] for facts in written(lab, "belonging_settled")] == [
        ["back", "to_wearer"],
        ["back", "thrown_away"],
        ["back", "kept"],
    ]
    assert "B2" not in str(written(lab, "belonging_settled")), "the log holds no words"


def test_said_twice_is_written_once_and_what_turns_up_again_is_open_again(
    browser: Person, program: Person, lab: Lab
) -> None:
    technician, code = browser("technician"), brought(lab, "shoes")
    (shoes,) = things(program, code)
    for _ in range(2):
        fate(technician, code, shoes["id"], "to_clinic")
    assert len(written(lab, "belonging_settled")) == 1
    fate(technician, code, shoes["id"], "back")
    (again,) = things(program, code)
    assert (again["becomes"], again["place"], again["settled_at"]) == ("back", "lab", None)


def test_what_is_wrong_stands_at_its_field(browser: Person, program: Person, lab: Lab) -> None:
    technician, code = browser("technician"), brought(lab, "shoes")
    (shoes,) = things(program, code)
    nothing = fate(technician, code, shoes["id"], "")
    assert nothing.status_code == 422
    assert 'href="#f-becomes"' in nothing.text
    nowhere = fate(technician, code, shoes["id"], "kept", shelf="x" * 21)
    assert nowhere.status_code == 422
    assert "x" * 21 in nowhere.text, "what was typed is still there"
    assert fate(technician, code, shoes["id"], "in_parcel").status_code == 409
    other = brought(lab, "shoes")
    for number in (things(program, other)[0]["id"], 10**30):
        assert fate(technician, code, number, "to_wearer").status_code == 404
    assert things(program, code) == [shoes]
    missing = technician.post(f"/pair/{code}/belongings", data={"kind": "", "side": "LR"})
    assert missing.status_code == 422
    assert 'href="#f-kind"' in missing.text


def test_a_clinician_adds_what_was_forgotten_and_a_program_does_it_alike(program: Person, lab: Lab) -> None:
    code = brought(lab)
    clinician = program("clinician")
    noted = clinician.post(f"/api/v1/pairs/{code}/belongings", json={"kind": "cast", "side": "L"})
    assert noted.status_code == 201
    address = f"/api/v1/pairs/{code}/belongings/{noted.json()['belonging']}"
    kept = clinician.post(address, json={"becomes": "kept", "shelf": "C2"}, headers={"idempotency-key": "1"})
    assert kept.json() == {
        "id": noted.json()["belonging"],
        "kind": "cast",
        "side": "L",
        "place": "lab",
        "becomes": "kept",
        "shelf": "C2",
    }
    again = clinician.post(address, json={"becomes": "kept", "shelf": "C2"}, headers={"idempotency-key": "1"})
    assert again.json() == kept.json()
    assert clinician.post(address, json={"becomes": "lost"}).status_code == 422
    assert written(lab, "belonging_noted") == [{"belonging": 1, "kind": "cast", "side": "L"}]


def test_dispensing_asks_for_all_of_it_in_one_go(browser: Person, program: Person, lab: Lab) -> None:
    code = brought(lab, "shoes", "liners", until="dispense")
    page = browser("clinician").get(f"/pair/{code}").text
    assert "Given back to the wearer today" in page
    shoes, liners = (each["id"] for each in things(program, code))
    wrong = FITS["LR"] | {"given_back": [shoes, 999]}
    sent = {"act": "dispense", "from_stage": "dispense", "facts": wrong}
    refused = program("clinician").post(f"/api/v1/pairs/{code}/acts", json=sent)
    assert refused.status_code == 422
    assert "the shoes" in refused.json()["detail"]
    assert all(each["becomes"] == "back" for each in things(program, code))
    lab.act(code, "dispense", by="clinician", facts=FITS["LR"] | {"given_back": [shoes]})
    assert [each["place"] for each in things(program, code)] == ["wearer", "lab"]
    lab.act(code, "take_back", by="clinician")
    assert [(each["becomes"], each["place"], each["settled_at"]) for each in things(program, code)] == [
        ("back", "lab", None),
        ("back", "lab", None),
    ], "nothing was given after all"
    form: dict[str, Any] = {
        "act": "dispense",
        "from_stage": "dispense",
        "confirmed": ["L", "R"],
        "sides_made": ["L", "R"],
    }
    form |= {"fit.read_back": "yes", "given_back": [shoes, liners]}
    for side in ("L", "R"):
        ticks = [key for key, said in FITS["LR"]["fit"][side].items() if said is True]
        form |= {f"fit.{side}.arch": "full", f"fit.{side}.cover": "ok", f"fit.{side}.ticks": ticks}
    assert browser("clinician").post(f"/pair/{code}/acts", data=form).status_code == 303
    assert [each["place"] for each in things(program, code)] == ["wearer", "wearer"]


def test_a_parcel_takes_along_what_is_ticked_and_says_what_came(browser: Person, program: Person, lab: Lab) -> None:
    codes = [
        brought(lab, *kinds, until="send", clinic="quay", by="quay clinician")
        for kinds in (("shoes",), ("shoes", "liners"))
    ]
    technician, clinician = browser("technician"), browser("quay clinician")
    assert f"Along with {codes[1]}" in technician.get("/parcels").text
    (first,), (second, liners) = ([each["id"] for each in things(program, code)] for code in codes)
    form = {"clinic_id": lab.house.clinics["quay"], "to_clinic": "yes", "codes": codes}
    # The liners stay: they were not ticked.
    ticked = {f"things.{codes[0]}": [first], f"things.{codes[1]}": [second]}
    assert technician.post("/parcels", data=form | ticked).status_code == 303
    assert [each["place"] for code in codes for each in things(program, code)] == ["way", "way", "lab"]
    packed = fate(technician, codes[1], liners, "in_parcel")
    assert packed.status_code == 303, "remembered while the parcel is on its way"
    assert "The shoes of " in clinician.get("/parcels").text
    came = {f"came.{codes[0]}": "well", f"thing.{first}": "missing", f"thing.{liners}": "damaged"}
    arrived = clinician.post("/parcels/1", data=came)
    assert arrived.status_code == 303
    assert f"the shoes of {codes[0]}" in clinician.get(arrived.headers["location"]).text
    assert [each["place"] for code in codes for each in things(program, code)] == ["missing", "clinic", "clinic"]
    assert {lab.at(code).stage for code in codes} == {"dispense"}, "a missing shoe stops no pair"
    assert "missing from its parcel" in technician.get(f"/pair/{codes[0]}").text
    assert "damaged in parcel 1" in technician.get(f"/pair/{codes[1]}").text


def test_what_comes_back_to_the_lab_with_a_pair_is_at_the_lab(program: Person, lab: Lab) -> None:
    code = brought(lab, "shoes", until="wear_in", clinic="quay", by="quay clinician")
    clinician = program("quay clinician")
    old = clinician.post(f"/api/v1/pairs/{code}/belongings", json={"kind": "old_pair"}).json()["belonging"]
    assert [each["place"] for each in things(program, code)] == ["lab", "clinic"], "each is where it was left"
    lab.act(
        code, "adjust", by="quay clinician", sides="LR", reason="Lifted.", facts={"where": "lab", "stages": ["cover"]}
    )
    sent = {"clinic_id": lab.house.clinics["quay"], "codes": [code], "to_clinic": False, "belongings": [old]}
    assert clinician.post("/api/v1/parcels", json=sent).status_code == 201
    assert program("technician").post("/api/v1/parcels/1/arrival", json={}).status_code == 200
    assert [each["place"] for each in things(program, code)] == ["lab", "lab"]


def test_what_belongs_to_a_pair_that_stays_behind_stays_with_it(browser: Person, program: Person, lab: Lab) -> None:
    codes = [brought(lab, "shoes", until="send", clinic="quay", by="quay clinician") for _ in range(2)]
    (first,), (second,) = ([each["id"] for each in things(program, code)] for code in codes)
    form = {"clinic_id": lab.house.clinics["quay"], "to_clinic": "yes", "codes": codes[:1]}
    ticked = {f"things.{codes[0]}": [first], f"things.{codes[1]}": [second]}
    assert browser("technician").post("/parcels", data=form | ticked).status_code == 303
    assert [things(program, code)[0]["place"] for code in codes] == ["way", "lab"]


def test_programs_pack_and_unpack_by_number(program: Person, lab: Lab) -> None:
    code = brought(lab, "shoes", until="send", clinic="quay", by="quay clinician")
    (shoes,) = things(program, code)
    technician, clinician = program("technician"), program("quay clinician")
    parcel = {"clinic_id": lab.house.clinics["quay"], "codes": [code]}
    refused = technician.post("/api/v1/parcels", json=parcel | {"belongings": [shoes["id"], 10**30]})
    assert refused.status_code == 422
    assert lab.at(code).stage == "send", "all of it or nothing"
    sent = technician.post("/api/v1/parcels", json=parcel | {"belongings": [shoes["id"]]})
    arrival = f"/api/v1/parcels/{sent.json()['parcel']}/arrival"
    for wrong in ({"99": "missing"}, {str(shoes["id"]): "late"}):
        assert clinician.post(arrival, json={"belongings": wrong}).status_code == 422
    arrived = clinician.post(arrival, json={"belongings": {str(shoes["id"]): "missing"}})
    assert arrived.json()["missing_belongings"] == [f"the shoes of {code}"]


def test_what_was_accounted_for_on_the_way_stays_accounted_for(program: Person, browser: Person, lab: Lab) -> None:
    code = brought(lab, "shoes", until="send", clinic="quay", by="quay clinician")
    (shoes,) = things(program, code)
    sent = {"clinic_id": lab.house.clinics["quay"], "codes": [code], "belongings": [shoes["id"]]}
    program("technician").post("/api/v1/parcels", json=sent)
    fate(browser("quay clinician"), code, shoes["id"], "to_wearer")
    program("quay clinician").post("/api/v1/parcels/1/arrival", json={})
    assert things(program, code)[0]["becomes"] == "to_wearer"


def test_a_settled_belonging_does_not_travel(program: Person, browser: Person, lab: Lab) -> None:
    code = brought(lab, "shoes", until="send", clinic="quay", by="quay clinician")
    (shoes,) = things(program, code)
    fate(browser("technician"), code, shoes["id"], "kept", shelf="A1")
    assert "Along with" not in browser("technician").get("/parcels").text
    sent = {"clinic_id": lab.house.clinics["quay"], "codes": [code], "belongings": [shoes["id"]]}
    assert program("technician").post("/api/v1/parcels", json=sent).status_code == 422
