"""The slip that lies in a parcel: who packed it says what is in it, who opens it ticks off what is there."""

from collections.abc import Callable, Sequence
from datetime import timedelta

from fastapi.testclient import TestClient

from app import clock
from app.bench.actions import parcels
from tests.bench.conftest import Lab
from tests.paperwork.conftest import A4, print_sheet

Browser = Callable[[str], TestClient]


def pack(lab: Lab, codes: list[str], to_clinic: bool = True, belongings: Sequence[int] = ()) -> int:
    by = lab.house.viewer("technician" if to_clinic else "quay clinician")
    with lab.database.writing() as db:
        return parcels.send(
            db,
            by=by,
            clinic_id=lab.house.clinics["quay"],
            codes=codes,
            to_clinic=to_clinic,
            carrier="the harbour van",
            tracking="HV 20 44",
            belongings=belongings,
        ).id


def made(lab: Lab, label: str, sides: str = "LR", until: str = "send") -> str:
    code = lab.order(by="quay clinician", clinic="quay", label=label, sides=sides)
    lab.walk(code, until, "quay clinician")
    return code


def test_a_slip_lists_what_travels_by_pair_and_side_with_its_count(browser: Browser, lab: Lab) -> None:
    codes = [made(lab, "Q 1"), made(lab, "Q 2", sides="R")]
    parcel = pack(lab, codes)
    for who in ("technician", "quay clinician", "manager"):
        sheet = print_sheet(browser(who), f"/paper/parcel/{parcel}/slip.pdf")
        assert (sheet.pages, sheet.size_mm, sheet.codes) == (1, A4, [f"PARCEL/{parcel}"])
        assert "2 pairs, 3 devices" in sheet.words
        assert "From Saltmarsh Bay Lab → To Upper Quay" in sheet.words
        assert "the harbour van, number HV 20 44" in sheet.words
        assert f"1 {codes[0]} Q 1 Left Right 2 {codes[1]} Q 2 RIGHT ONLY – Right" in sheet.words


def test_a_slip_lists_the_belongings_that_travel_with_each_pair(browser: Browser, lab: Lab) -> None:
    code = lab.order(by="quay clinician", clinic="quay", label="Q 4")
    lab.act(code, "advance", facts={"belongings": ["shoes", "liners", "tracing"]})
    lab.walk(code, "send")
    alone = made(lab, "Q 5")
    parcel = pack(lab, [code, alone], belongings=[1, 2])
    words = print_sheet(browser("quay clinician"), f"/paper/parcel/{parcel}/slip.pdf").words
    assert "2 pairs, 4 devices, 2 belongings" in words
    assert f"along with it The shoes The shoe's own insoles (liners) 2 {alone}" in words
    assert "tracing" not in words


def test_a_parcel_back_to_the_lab_is_from_the_clinic(browser: Browser, lab: Lab) -> None:
    code = made(lab, "Q 3", until="wear_in")
    facts = {"stages": ["cover"], "where": "lab"}
    clock.set_shift(timedelta(days=15))  # the review is due
    lab.act(code, "adjust", by="quay clinician", sides="L", facts=facts)
    words = print_sheet(browser("technician"), f"/paper/parcel/{pack(lab, [code], to_clinic=False)}/slip.pdf").words
    assert "From Upper Quay → To Saltmarsh Bay Lab" in words
    assert "1 pair, 1 device" in words
    assert "Left right stays behind" in words


def test_a_long_parcel_goes_on_to_numbered_pages_under_the_same_headings(browser: Browser, lab: Lab) -> None:
    codes = [made(lab, f"Q {number}") for number in range(28)]
    sheet = print_sheet(browser("technician"), f"/paper/parcel/{pack(lab, codes)}/slip.pdf")
    assert sheet.pages == 2
    assert "page 2 of 2" in sheet.words
    assert sheet.words.count("Tick what is in the parcel") == 2
    assert all(code in sheet.words for code in codes)


def test_another_clinics_parcel_is_not_found(browser: Browser, lab: Lab) -> None:
    parcel = pack(lab, [made(lab, "Q 1")])
    for address in (f"/paper/parcel/{parcel}/slip.pdf", f"/paper/parcel/{parcel}/slip"):
        assert browser("clinician").get(address).status_code == 404
        assert browser("quay clinician").get(address).status_code == 200
        assert browser("technician").get(address.replace(str(parcel), "999")).status_code == 404
