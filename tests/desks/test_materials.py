"""Materials by page and by program: taken down, picked at the pair, searched, held, told, let go again."""

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import httpx2
import pytest
from fastapi.testclient import TestClient
from sqlmodel import col, select

from app import clock
from app.bench import queries
from app.bench.tables import Lot, LotUse
from app.database import Database
from app.journal.tables import Entry
from tests.bench.conftest import SIDE, Lab
from tests.house import House

Person = Callable[[str], TestClient]
SHEET = {
    "kind": "sheet",
    "name": "Polypropylene 4 mm",
    "material": "polypropylene",
    "thickness": "4",
    "unit": "sheet",
    "per_side": "0,5",
}


@pytest.fixture
def lab(database: Database, house: House) -> Lab:
    return Lab(database, house)


def number_in(answer: httpx2.Response) -> int:
    return int(answer.headers["location"].split("/")[-1])


def material(technician: TestClient, **typed: str) -> int:
    return number_in(technician.post("/materials", data=SHEET | typed))


def lot(lab: Lab, technician: TestClient, of: int, number: str = "PP-1", stock: str = "10", **typed: str) -> int:
    form = {"act": "lot", "number": number, "stock": stock} | typed
    assert technician.post(f"/materials/{of}", data=form).status_code == 303
    with lab.database.reading() as db:
        return int(db.execute(select(Lot.id).where(Lot.number == number)).scalar_one())


def act(person: TestClient, address: str, what: str, **typed: str) -> httpx2.Response:
    return person.post(address, data={"act": what} | typed)


def pressed(lab: Lab, person: TestClient, *lots: int, **order: Any) -> str:
    """A pair that is pressed by its page, with these lots picked."""
    code = lab.order(**order)
    lab.walk(code, "press")
    form = {"act": "advance", "from_stage": "press", "lots": [str(each) for each in lots]}
    assert person.post(f"/pair/{code}/acts", data=form).status_code == 303
    return code


def tap(person: TestClient, stage: str, code: str) -> httpx2.Response:
    """The one tap of this pair's row: what its form holds, and nothing else."""
    (form,) = re.findall(r'<form method="post" action="/pair/.*?/acts">(.*?)</form>', row(person, stage, code), re.S)
    fields: dict[str, list[str]] = {}
    for name, value in re.findall(r'name="(\w+)" value="([^"]*)"', form):
        fields.setdefault(name, []).append(value)
    return person.post(f"/pair/{code}/acts", data=fields)


def row(person: TestClient, stage: str, code: str) -> str:
    """This pair's row of the queue."""
    rows = re.findall(r"<li ?(?:class=\"setting\")?>.*?</li>", person.get(f"/queue/{stage}").text, re.S)
    (mine,) = [str(each) for each in rows if f'href="/pair/{code}"' in each]
    return mine


def inside(lab: Lab, code: str) -> list[tuple[str, str]]:
    """Number and side of the lots in a pair."""
    with lab.database.reading() as db:
        return sorted((use.number, use.side) for use in queries.lots_of_pair(db, lab.row(code)["id"]))


def picks(page: str) -> dict[str, list[str]]:
    """The labels of the picks on a pair's page, each with its options; the one that is chosen has a star."""
    found = {}
    for label, options in re.findall(
        r'<label for="(?:f-lots|lots-\d)">(.*?)</label>.*?(<select.*?</select>)', page, re.S
    ):
        rows = re.findall(r"<option[^>]*?(selected)?>([^<]*)</option>", options)
        found[" ".join(label.split())] = [words.replace("\u00a0", " ") + ("*" if star else "") for star, words in rows]
    return found


def test_a_lab_without_materials_sees_none_of_it(browser: Person, lab: Lab) -> None:
    code = lab.order()
    lab.walk(code, "press")
    practitioner = browser("practitioner")
    for address in ("/", f"/pair/{code}", "/queue/press", "/flags"):
        page = practitioner.get(address).text
        assert page.count("/materials") == 1, "in the menu, where it begins"
        assert "lots" not in page.lower()
    assert "No materials yet" in practitioner.get("/materials").text


def test_the_menu_leads_the_lab_s_people_to_the_materials_and_no_clinician(browser: Person, lab: Lab) -> None:
    entry = '<a href="/materials"'
    seen = {who: entry in browser(who).get("/queue/press").text for who in ("technician", "manager", "clinician")}
    assert seen == {"technician": True, "manager": True, "clinician": False}


def test_a_material_and_its_lots_are_taken_down_and_listed(browser: Person, lab: Lab) -> None:
    technician = browser("technician")
    refused = technician.post("/materials", data=SHEET | {"per_side": "none", "name": ""})
    assert refused.status_code == 422
    assert "What one side takes is a number" in refused.text
    assert 'value="4"' in refused.text, "what was typed is still there"
    of = material(technician)
    assert "No lots yet" in technician.get(f"/materials/{of}").text
    day = (clock.today(lab.house.zone) + timedelta(days=90)).isoformat()
    lot(lab, technician, of, "PP-1", expires_on=day)
    lot(lab, technician, of, "PP-2", "2.5")
    page = technician.get("/materials").text
    assert "12.5\u00a0sheets" in page
    assert "in 2 lots" in page
    again = act(technician, f"/materials/{of}", "lot", number="pp 1", stock="1")
    assert (again.status_code, "is here already" in again.text) == (422, True)


def test_what_a_side_takes_is_changed_for_what_is_noted_from_then_on(browser: Person, lab: Lab) -> None:
    technician = browser("technician")
    one = lot(lab, technician, of := material(technician))
    pressed(lab, technician, one)
    form = {"name": "Polypropylene 4 mm", "per_side": "0.25", "low": "9"}
    assert act(technician, f"/materials/{of}", "change", **form).status_code == 303
    assert act(technician, f"/materials/{of}", "change", **form).status_code == 303
    pressed(lab, technician, one, label="A 2")
    with lab.database.reading() as db:
        assert db.exec(select(LotUse.amount)).all() == [50, 50, 25, 25]
        assert queries.lot(db, one).stock == 850
        (entry,) = db.exec(select(Entry).where(Entry.what == "material_changed")).all()
    assert entry.facts["per_side"] == [50, 25]
    assert "name" not in entry.facts


def test_the_pick_at_the_pair_offers_what_fits_and_has_the_last_one_chosen(browser: Person, lab: Lab) -> None:
    technician = browser("technician")
    first = lot(lab, technician, of := material(technician), "PP-1")
    lot(lab, technician, of, "PP-2")
    lot(lab, technician, of, "PP-3", expires_on=(clock.today(lab.house.zone) - timedelta(days=1)).isoformat())
    lot(lab, technician, material(technician, name="HDPE 4 mm", material="hdpe"), "HD-1")
    code = lab.order()
    lab.walk(code, "press")
    offered = picks(technician.get(f"/pair/{code}").text)
    assert offered == {"Lot: polypropylene 4 mm": ["not noted", "PP-1: 10 sheets", "PP-2: 10 sheets"]}
    pressed(lab, technician, first, label="A 2")
    offered = picks(technician.get(f"/pair/{code}").text)
    assert offered == {"Lot: polypropylene 4 mm": ["not noted", "PP-1: 9 sheets*", "PP-2: 10 sheets"]}
    assert picks(browser("clinician").get(f"/pair/{code}").text) == {}, "the work is the bench's"


def test_sides_of_different_materials_have_a_pick_each(browser: Person, lab: Lab) -> None:
    technician = browser("technician")
    lot(lab, technician, material(technician), "PP-1")
    lot(lab, technician, material(technician, name="PP 5", thickness="5"), "PP-5")
    code = lab.order(prescription={"L": dict(SIDE), "R": SIDE | {"shell_thickness": 50}})
    lab.walk(code, "press")
    assert list(picks(technician.get(f"/pair/{code}").text)) == [
        "Lot: polypropylene 4 mm, left",
        "Lot: polypropylene 5 mm, right",
    ]


def test_a_refused_lot_is_named_at_its_field_and_the_pair_has_not_moved(browser: Person, lab: Lab) -> None:
    technician = browser("technician")
    one = lot(lab, technician, material(technician))
    code = lab.order()
    lab.walk(code, "press")
    act(browser("manager"), f"/materials/lots/{one}", "hold", reason="Cracks.")
    page = technician.post(f"/pair/{code}/acts", data={"act": "advance", "from_stage": "press", "lots": [str(one), ""]})
    assert page.status_code == 422
    assert "Lot PP-1 of Polypropylene 4 mm is held: nothing is made from it." in page.text
    assert lab.at(code).stage == "press"


def test_a_program_notes_lots_and_reads_them_with_the_pair(program: Person, browser: Person, lab: Lab) -> None:
    technician = browser("technician")
    one = lot(lab, technician, material(technician))
    (item,) = program("technician").get("/api/v1/lots").json()["items"]
    assert (item["lot"], item["stage"], item["stock"], item["per_side"]) == (one, "press", 10.0, 0.5)
    code = lab.order()
    lab.walk(code, "press")
    sent = {"act": "advance", "from_stage": "press", "facts": {"lots": [one]}}
    key = {"idempotency-key": "once"}
    for _ in range(2):
        assert program("technician").post(f"/api/v1/pairs/{code}/acts", json=sent, headers=key).status_code == 200
    lots = program("clinician").get(f"/api/v1/pairs/{code}").json()["lots"]
    assert [(each["lot_id"], each["side"], each["number"]) for each in lots] == [(one, "L", "PP-1"), (one, "R", "PP-1")]
    with lab.database.reading() as db:
        assert queries.lot(db, one).stock == 900, "the same request twice uses it once"


def test_from_a_lot_to_its_pairs_and_from_a_pair_to_its_lots_in_one_search(browser: Person, lab: Lab) -> None:
    technician = browser("technician")
    one, two = lot(lab, technician, of := material(technician), "PP-1"), lot(lab, technician, of, "PP-2")
    code = pressed(lab, technician, one, label="Rosa 7", wearer={"name": "Orla Sedge"})
    assert technician.get("/materials", params={"lot": "pp1"}).headers["location"] == f"/materials/lots/{one}"
    assert technician.get("/materials", params={"lot": code}).headers["location"] == f"/materials/lots/{one}"
    both = technician.get("/materials", params={"lot": "PP"}).text
    assert f'href="/materials/lots/{two}"' in both
    assert "No lot's number begins like this" in technician.get("/materials", params={"lot": "ZZ"}).text
    assert technician.get(f"/find?q=LOT/{one:06d}").headers["location"] == f"/materials/lots/{one}"
    page = technician.get(f"/materials/lots/{one}").text
    assert f'href="/pair/{code}"' in page
    assert "Rosa 7" in page
    assert "Orla Sedge" not in page, "the lab sees chart labels"
    assert f'href="/materials/lots/{one}"' in technician.get(f"/pair/{code}").text
    of_the_clinic = browser("clinician").get(f"/pair/{code}").text
    assert "lot PP-1" in of_the_clinic
    assert f"/materials/lots/{one}" not in of_the_clinic
    assert browser("clinician").get(f"/materials/lots/{one}").status_code == 403
    assert browser("quay clinician").get(f"/pair/{code}").status_code == 404


def test_the_label_says_what_the_scanner_reads(browser: Person, lab: Lab) -> None:
    technician = browser("technician")
    one = lot(lab, technician, material(technician))
    page = technician.get(f"/materials/lots/{one}/label").text
    assert f"LOT/{one:06d}" in page
    assert 'class="qr"' in page


def test_the_stock_is_corrected_with_a_reason_that_the_journal_keeps_apart(browser: Person, lab: Lab) -> None:
    technician = browser("technician")
    one = lot(lab, technician, material(technician))
    address = f"/materials/lots/{one}"
    refused = act(technician, address, "correct", stock="many", reason="")
    assert refused.status_code == 422
    assert "Say why it is corrected" in refused.text
    assert 'value="many"' in refused.text
    assert act(technician, address, "correct", stock="8", reason="Two were cracked.").status_code == 303
    page = browser("manager").get("/journal").text
    assert "corrected the stock of" in page
    assert "lot PP-1 of Polypropylene 4 mm" in page
    assert "stock: 10\u00a0sheets → 8\u00a0sheets" in page
    with lab.database.reading() as db:
        entry = db.exec(select(Entry).where(Entry.what == "stock_corrected")).one()
    assert "cracked" not in str(entry.facts)


def test_a_manager_holds_a_lot_each_clinic_tells_its_own_and_lifting_lets_them_go_on(browser: Person, lab: Lab) -> None:
    technician, manager, clinician = browser("technician"), browser("manager"), browser("clinician")
    one = lot(lab, technician, material(technician))
    address = f"/materials/lots/{one}"
    here = pressed(lab, technician, one)
    there = pressed(lab, technician, one, by="quay clinician", clinic="quay", label="Q 1")
    assert "Hold this lot" not in technician.get(address).text
    assert act(technician, address, "hold", reason="Cracks.").status_code == 403
    assert act(manager, address, "hold", reason=" ").status_code == 422
    assert act(manager, address, "hold", reason="Cracks at the heel.").status_code == 303
    assert act(manager, address, "hold", reason="Again.").status_code == 409

    assert "A lot is held, and 1 wearer has not been told." in clinician.get("/").text
    assert "Lot PP-1 of Polypropylene 4 mm: Cracks at the heel." in technician.get(f"/pair/{here}").text
    page = clinician.get("/materials/held").text
    assert here in page
    assert there not in page
    form = dict(re.findall(r'name="(hold|pair)" value="(\d+)"', page))
    assert browser("quay clinician").post("/materials/held", data=form | {"what": "told"}).status_code == 404
    assert clinician.post("/materials/held", data=form | {"what": "eaten"}).status_code == 422
    for what in ("told", "returned", "told"):
        assert clinician.post("/materials/held", data=form | {"what": what}).status_code == 303
    assert "has not been told" not in clinician.get("/").text
    page = manager.get(address).text
    assert (page.count("not told"), page.count("not returned")) == (1, 1), "the other clinic's wearer"

    assert act(manager, address, "resume").status_code == 409
    assert act(manager, address, "lift", reason="Tested well.").status_code == 303
    page = manager.get(address).text
    assert "2 pairs still stand still for it" in page
    assert act(manager, address, "resume").status_code == 303
    assert {lab.row(code)["parked_on"] for code in (here, there)} == {None}
    assert "No held lots" in clinician.get("/materials/held").text
    with lab.database.reading() as db:
        written = db.exec(select(Entry.what).where(col(Entry.what).like("lot_%")).order_by(col(Entry.id))).all()
    assert written == ["lot_added", "lot_held", "lot_told", "lot_returned", "lot_lifted"]


COVER = {"kind": "cover", "name": "EVA 3 mm", "material": "eva", "thickness": "3", "unit": "sheet"}
GLUE = {"kind": "adhesive", "name": "Contact glue", "unit": "ml", "per_side": "15"}


def test_a_lot_is_taken_into_use_and_put_away_by_one_tap_on_both_pages(browser: Person, lab: Lab) -> None:
    technician = browser("technician")
    one, two = lot(lab, technician, of := material(technician), "PP-1"), lot(lab, technician, of, "PP-2")
    scanned = technician.get(f"/find?q=LOT/{one:06d}", follow_redirects=True)
    assert "Take into use" in scanned.text
    answer = act(technician, f"/materials/lots/{one}", "use")
    assert answer.headers["location"] == f"/materials/lots/{one}"
    page = technician.get(f"/materials/lots/{one}").text
    assert "one tap at the bench notes it" in page
    assert "Put away" in page
    answer = act(technician, f"/materials/lots/{two}", "use", back="material")
    assert answer.headers["location"] == f"/materials/{of}"
    page = technician.get(f"/materials/{of}").text
    assert "Lot PP-1 is put away." in page
    assert page.index("PP-2") < page.index("in use</span>") < page.index("PP-1", page.index("PP-2")), "it stands first"
    assert "lot PP-2 in use" in technician.get("/materials").text
    assert act(technician, f"/materials/lots/{two}", "put_away", back="material").status_code == 303
    assert "lot PP-2 in use" not in technician.get("/materials").text
    assert act(browser("clinician"), f"/materials/lots/{two}", "use").status_code == 403
    act(browser("manager"), f"/materials/lots/{two}", "hold", reason="Cracks.")
    assert act(technician, f"/materials/lots/{two}", "use").status_code == 409
    journal = browser("manager").get("/journal").text
    told = re.findall(r"</b> (took into use|put away)\s+<a.*?>lot (\S+) of", journal)
    newest = [("put away", "PP-2"), ("took into use", "PP-2"), ("put away", "PP-1"), ("took into use", "PP-1")]
    assert told == newest


def test_one_tap_in_the_queue_notes_what_is_in_use(browser: Person, lab: Lab) -> None:
    technician = browser("technician")
    kept = ((SHEET, "PP-1", "10"), (COVER, "EV-1", "10"), (GLUE, "G-1", "500"))
    lots = [lot(lab, technician, material(technician, **more), number, stock) for more, number, stock in kept]
    code, other = lab.order(), lab.order(label="A 2")
    for each in (code, other):
        lab.walk(each, "press")
    assert "in use" not in row(technician, "press", code)
    tap(technician, "press", other)
    assert inside(lab, other) == [], "what is not in use is not noted"
    for one in lots:
        act(technician, f"/materials/lots/{one}", "use")
    assert "<span>lot PP-1 in use</span>" in row(technician, "press", code)
    assert "in use" not in browser("clinician").get("/queue/press").text, "what lies in stock is the lab's"
    answer = tap(technician, "press", code)
    assert answer.headers["location"] == "/queue/press"
    assert inside(lab, code) == [("PP-1", "L"), ("PP-1", "R")]
    lab.walk(code, "cover")
    words = row(technician, "cover", code)
    assert "lot EV-1 in use" in words
    assert "lot G-1 in use" in words
    tap(technician, "cover", code)
    assert inside(lab, code)[:4] == [("EV-1", "L"), ("EV-1", "R"), ("G-1", "L"), ("G-1", "R")]


def test_in_one_tap_each_side_gets_its_own_and_a_side_that_waits_gets_none(browser: Person, lab: Lab) -> None:
    technician = browser("technician")
    thick = material(technician, name="PP 5", thickness="5")
    for of, number in ((material(technician), "PP-4"), (thick, "PP-5")):
        act(technician, f"/materials/lots/{lot(lab, technician, of, number)}", "use")
    body = {"L": dict(SIDE), "R": SIDE | {"shell_thickness": 50}}
    code, one_ahead = lab.order(prescription=body), lab.order(label="A 2")
    for each in (code, one_ahead):
        lab.walk(each, "press")
    lab.act(one_ahead, "advance", sides="L")
    assert "left: lot PP-4 in use" in row(technician, "press", code)
    assert "right: lot PP-5 in use" in row(technician, "press", code)
    for each in (code, one_ahead):
        assert tap(technician, "press", each).status_code == 303
    assert inside(lab, code) == [("PP-4", "L"), ("PP-5", "R")]
    assert inside(lab, one_ahead) == [("PP-4", "R")]


@pytest.mark.parametrize("thing", ["is held", "has expired", "is used up"])
def test_a_lot_in_use_that_is_no_good_is_said_not_noted_and_another_can_be_picked(
    browser: Person, lab: Lab, thing: str
) -> None:
    technician = browser("technician")
    today = clock.today(lab.house.zone).isoformat()
    one = lot(lab, technician, of := material(technician), "PP-1", "1", expires_on=today)
    two = lot(lab, technician, of, "PP-2")
    act(technician, f"/materials/lots/{one}", "use")
    code, other = lab.order(), lab.order(label="A 2")
    for each in (code, other):
        lab.walk(each, "press")
    spoil: dict[str, Callable[[], Any]] = {
        "is held": lambda: act(browser("manager"), f"/materials/lots/{one}", "hold", reason="Cracks."),
        "has expired": lambda: clock.set_shift(timedelta(days=1)),
        "is used up": lambda: pressed(lab, technician, one, label="A 3"),
    }
    spoil[thing]()
    technician = browser("technician")
    said = re.search(r'<span class="note stop">(.*?)</span></span>', row(technician, "press", code), re.S)
    assert said is not None
    assert f"lot PP-1 in use {thing}, not noted" in said[1]
    assert "#mark-stop" in said[1], "a shape beside the words"
    page = technician.get(f"/pair/{other}").text
    assert f"lot PP-1 in use {thing}, not noted" in page
    assert picks(page) == {"Lot: polypropylene 4 mm": ["not noted", "PP-2: 10 sheets"]}
    assert tap(technician, "press", code).status_code == 303
    assert inside(lab, code) == []
    form = {"act": "advance", "from_stage": "press", "lots": str(two)}
    assert technician.post(f"/pair/{other}/acts", data=form).status_code == 303
    assert inside(lab, other) == [("PP-2", "L"), ("PP-2", "R")]


def test_a_lot_that_is_held_after_the_queue_was_opened_is_refused_and_the_pair_stays(browser: Person, lab: Lab) -> None:
    technician = browser("technician")
    one = lot(lab, technician, material(technician))
    act(technician, f"/materials/lots/{one}", "use")
    code = lab.order()
    lab.walk(code, "press")
    (sent,) = re.findall(r'name="lots" value="(\d+)"', row(technician, "press", code))
    act(browser("manager"), f"/materials/lots/{one}", "hold", reason="Cracks.")
    page = technician.post(f"/pair/{code}/acts", data={"act": "advance", "from_stage": "press", "lots": sent})
    assert (page.status_code, lab.at(code).stage) == (422, "press")
    assert "Lot PP-1 of Polypropylene 4 mm is held: nothing is made from it." in page.text


def test_the_pick_at_the_pair_starts_from_the_lot_in_use(browser: Person, lab: Lab) -> None:
    technician = browser("technician")
    first, second = lot(lab, technician, of := material(technician), "PP-1"), lot(lab, technician, of, "PP-2")
    pressed(lab, technician, first, label="A 2")
    act(technician, f"/materials/lots/{second}", "use")
    code = lab.order()
    lab.walk(code, "press")
    offered = picks(technician.get(f"/pair/{code}").text)
    assert offered == {"Lot: polypropylene 4 mm": ["not noted", "PP-2: 10 sheets, in use*", "PP-1: 9 sheets"]}


def test_a_program_is_told_what_is_in_use_and_notes_what_it_names_alone(
    program: Person, browser: Person, lab: Lab
) -> None:
    technician = browser("technician")
    one, two = lot(lab, technician, of := material(technician), "PP-1"), lot(lab, technician, of, "PP-2")
    act(technician, f"/materials/lots/{one}", "use")
    items = program("technician").get("/api/v1/lots").json()["items"]
    assert {each["lot"]: each["in_use"] for each in items} == {one: True, two: False}
    code = lab.order()
    lab.walk(code, "press")
    sent = {"act": "advance", "from_stage": "press"}
    assert program("technician").post(f"/api/v1/pairs/{code}/acts", json=sent).status_code == 200
    assert inside(lab, code) == []


def test_a_scan_of_nonsense_finds_no_lot(browser: Person, lab: Lab) -> None:
    technician = browser("technician")
    for address in ("/materials/lots/4711", "/materials/4711", "/materials/lots/99999999999", "/find?q=LOT/x"):
        answer = technician.get(address, follow_redirects=True)
        assert answer.status_code == 404, address
