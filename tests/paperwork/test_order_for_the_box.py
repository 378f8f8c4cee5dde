"""The order that lies in the box with the casts: printed by who sends it, scanned and checked in by who opens it."""

from collections.abc import Callable

from fastapi.testclient import TestClient

from tests.bench.conftest import Lab
from tests.desks.test_order_form import SEEN, order, typed
from tests.house import House
from tests.paperwork.conftest import A5, print_sheet
from tests.people.forms import read

Browser = Callable[[str], TestClient]


def test_it_tells_the_box_and_nothing_of_the_wearer_but_the_chart_label(browser: Browser, house: House) -> None:
    clinician = browser("clinician")
    wearer = {"name": "Ada Fenn", "risks": ["diabetes"], "rush": "travels on Friday", "wanted_on": "2027-03-01"}
    code = order(clinician, typed(house, **wearer, **SEEN | {"capture.R": "slipper_plaster"}))
    assert f'href="/paper/{code}/order.pdf"' in clinician.get(f"/pair/{code}").text, "offered right after ordering"
    sheet = print_sheet(clinician, f"/paper/{code}/order.pdf")
    assert (sheet.pages, sheet.size_mm, sheet.codes) == (1, A5, [code])
    for words in ("From Harbour Steps → To Saltmarsh Bay Lab", code, "MR 2210", "BOTH", "RUSH", "Mon 1 Mar"):
        assert words in sheet.words
    assert "LEFT foam impression RIGHT slipper cast, plaster The shoes" in sheet.words
    for hidden in ("Ada", "Fenn", "diabetes", "Friday", "hard edges"):
        assert hidden not in sheet.words


def test_scanned_anywhere_at_the_lab_the_pair_is_checked_in_by_one_tap(browser: Browser, lab: Lab) -> None:
    code, technician = lab.order(sides="R"), browser("technician")
    (scanned,) = print_sheet(browser("clinician"), f"/paper/{code}/order.pdf").codes
    opened = technician.get("/find", params={"q": scanned}).headers["location"]
    page = technician.get(opened).text
    before, _, panel = page.partition('value="check_in"')
    assert " open>" in before[before.rindex("<details") : before.rindex("<summary")], "its form is open"
    form = panel.partition("</form>")[0]
    hidden = dict(read(f'<input type="hidden" name="from_stage" value="check_in"{form}').hidden)
    answer = technician.post(f"/pair/{code}/acts", data=hidden | {"act": "advance"})
    assert answer.status_code == 303
    assert lab.at(code).stage == "pour"
    assert technician.get("/find", params={"q": scanned}).headers["location"] == f"/pair/{code}"


def test_who_can_t_check_it_in_finds_the_pair_as_ever(browser: Browser, lab: Lab) -> None:
    code = lab.order()
    assert browser("manager").get("/find", params={"q": code}).headers["location"] == f"/pair/{code}"
    lab.act(code, "park", reason="material", waiting_on="supplier")
    assert browser("technician").get("/find", params={"q": code}).headers["location"] == f"/pair/{code}"


def test_scans_alone_have_no_box(browser: Browser, lab: Lab) -> None:
    scans = lab.order(way="direct", captures={"L": "scan", "R": "scan"})
    assert browser("clinician").get(f"/paper/{scans}/order.pdf").status_code == 409
    assert "Print the order" not in browser("clinician").get(f"/pair/{scans}").text
    mixed = lab.order(way="carved", captures={"L": "scan", "R": "foam"})
    words = print_sheet(browser("clinician"), f"/paper/{mixed}/order.pdf").words
    assert "Left: scan (mesh file), not in this box." in words
