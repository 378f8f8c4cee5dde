"""How a wearer stands, from the photo to the figures: who may see it, what is kept, what a correction leaves behind."""

import io
import re
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import httpx2
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from PIL import Image
from sqlalchemy import text
from sqlalchemy.exc import OperationalError, ProgrammingError
from sqlmodel import col, select

from app.capture.reading.photos import read
from app.database import Database
from app.fitting import actions
from app.fitting.tables import FootMeasure, StancePhoto
from app.journal.tables import Entry
from app.people.tables import Clinic
from app.storage import Storage
from app.trade.stance import ITEMS
from tests.bench.conftest import Lab

OnDay = Callable[[date], None]
Browser = Callable[[str], TestClient]
DISPENSED, DUE = date(2027, 3, 3), date(2027, 3, 17)
# Upper and lower point of the leg, upper and lower of the heel. Left heel: 35 px outwards (to the left) over 400 px.
LEFT = "300,100 300,500 300,520 265,920"
RIGHT = "600,100 600,500 600,520 565,920"


@pytest.fixture
def ready(lab: Lab, on_day: OnDay) -> str:
    on_day(DISPENSED)
    code = lab.order()
    lab.walk(code, "dispense")
    return code


def jpeg(width: int = 900, height: int = 1200, colour: str = "tan", **more: Any) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (width, height), colour).save(out, "JPEG", **more)
    return out.getvalue()


def add(who: TestClient, code: str, content: bytes, devices: str = "without") -> httpx2.Response:
    files = {"photo": ("IMG_0042.jpg", content)}
    return who.post(f"/pair/{code}/stance/photo", data={"devices": devices}, files=files)


def measure(who: TestClient, code: str, kind: str = "angles", devices: str = "without", **more: str) -> httpx2.Response:
    """The page's form as it is sent; `L_of_heel_deg` is its field `L.heel_deg`."""
    form = {"kind": kind, "form": devices if kind == "angles" else kind, "devices": devices}
    form |= {name.replace("_of_", "."): said for name, said in more.items()}
    return who.post(f"/pair/{code}/stance", data=form)


def stored(storage: Storage) -> list[Path]:
    return [path for path in storage.folder.rglob("*") if path.is_file()]


def rows(database: Database) -> list[FootMeasure]:
    with database.reading() as db:
        return list(db.exec(select(FootMeasure).order_by(col(FootMeasure.id))))


def written(database: Database) -> list[tuple[str, str]]:
    with database.reading() as db:
        entries = db.exec(select(Entry).where(col(Entry.subject) == "pair").order_by(col(Entry.id))).all()
    return [(each.what, each.facts.get("sides", "")) for each in entries if "kind" in each.facts]


def test_a_photo_is_marked_and_the_devices_effect_stands_beside(
    browser: Browser, database: Database, ready: str
) -> None:
    clinician = browser("clinician")
    assert "not measured yet" in clinician.get(f"/pair/{ready}").text
    for devices, colour in (("without", "tan"), ("with", "olive")):
        answer = add(clinician, ready, jpeg(colour=colour), devices)
        assert (answer.status_code, answer.headers["location"]) == (303, f"/pair/{ready}/stance#{devices}")
    with database.reading() as db:
        without, with_ = db.exec(select(StancePhoto.id).order_by(col(StancePhoto.id))).all()
    marked = measure(clinician, ready, photo=str(without), L_of_points=LEFT, R_of_points=RIGHT)
    assert marked.status_code == 303, marked.text
    less = LEFT.replace("265,920", "286,920")
    assert measure(clinician, ready, devices="with", photo=str(with_), L_of_points=less).status_code == 303
    page = clinician.get(f"/pair/{ready}/stance").text
    assert "5.0° valgus" in page, "atan2(35, 400), outwards on the left"
    assert "5.0° varus" in page, "the same way in the photo leads inwards on the right"
    assert "2.0° valgus" in page
    assert "3.0° towards varus" in page
    assert "weighted kappa of 0.60" in page
    assert "a point marked one pixel off turns its line by up to 0.1°" in page
    assert f'data-marked="{LEFT}"' in page, "what was marked comes back to be marked further"
    pair = clinician.get(f"/pair/{ready}").text
    assert "Left: heel 5.0° valgus without devices; heel 2.0° valgus with devices." in pair
    kept = rows(database)
    assert [(row.side, row.with_devices, row.photo_id) for row in kept] == [
        ("L", False, without),
        ("R", False, without),
        ("L", True, with_),
    ]
    assert kept[0].found == {"leg": [[300, 100], [300, 500]], "heel": [[300, 520], [265, 920]]}, "points, no angle"
    assert written(database) == [("measured", "L"), ("measured", "R"), ("measured", "L")]


def test_a_plumb_line_in_the_photo_is_the_vertical(browser: Browser, database: Database, ready: str) -> None:
    clinician = browser("clinician")
    add(clinician, ready, jpeg())
    plumb = "450,100 415,500"
    assert measure(clinician, ready, photo="1", L_of_points=LEFT, plumb=plumb).status_code == 303
    page = clinician.get(f"/pair/{ready}/stance").text
    assert "heel to the vertical 0.0°;" in page
    assert "lower leg to the vertical 5.0° varus" in page
    assert rows(database)[0].found["plumb"] == [[450, 100], [415, 500]]


def test_marked_anew_in_the_same_photo_it_is_a_correction_and_the_very_same_is_nothing(
    browser: Browser, database: Database, ready: str
) -> None:
    clinician = browser("clinician")
    add(clinician, ready, jpeg())
    for points in (LEFT, LEFT, LEFT.replace("265,920", "286,920")):
        assert measure(clinician, ready, photo="1", L_of_points=points).status_code == 303
    first, second = rows(database)
    assert (first.replaces_id, second.replaces_id) == (None, first.id)
    page = clinician.get(f"/pair/{ready}/stance").text
    assert page.count("corrected, no longer holds") == 1
    assert written(database) == [("measured", "L"), ("measure_corrected", "L")]
    add(clinician, ready, jpeg(colour="olive"))
    measure(clinician, ready, photo="2", L_of_points=LEFT)
    measure(clinician, ready, photo="1", L_of_points=LEFT.replace("265,920", "300,920"))
    assert [row.replaces_id for row in rows(database)] == [None, first.id, None, second.id], "each photo's own"


def test_what_was_typed_wrongly_is_corrected_once_and_the_first_row_stays(
    browser: Browser, database: Database, ready: str
) -> None:
    clinician = browser("clinician")
    measure(clinician, ready, L_of_leg_deg="-6", L_of_heel_deg="17", R_of_leg_deg="-6", R_of_heel_deg="7,5")
    wrong = rows(database)[0]
    form = clinician.get(f"/pair/{ready}/stance?correct={wrong.id}").text
    assert 'value="17"' in form
    assert 'name="R.heel_deg"' not in form, "one foot's measure is corrected, not both"
    again = {"replaces": str(wrong.id), "L_of_leg_deg": "-6"}
    assert measure(clinician, ready, **again, L_of_heel_deg="7").status_code == 303
    assert measure(clinician, ready, **again, L_of_heel_deg="8").status_code == 409, "it was corrected already"
    kept = rows(database)
    assert [(row.found.get("heel_deg"), row.replaces_id) for row in kept] == [(17, None), (7.5, None), (7, wrong.id)]
    page = clinician.get(f"/pair/{ready}/stance").text
    assert "7.0° valgus" in page
    assert clinician.get(f"/pair/{ready}/stance?correct=99").status_code == 404
    elsewhere = measure(clinician, ready, kind="posture", replaces="2", L_of_arch="1")
    assert elsewhere.status_code == 422
    assert "this is another measure" in elsewhere.text


def test_posture_and_arch_are_summed_and_named(browser: Browser, ready: str) -> None:
    clinician = browser("clinician")
    items = dict(zip(ITEMS, ("2", "1", "2", "1", "2", "0"), strict=True))
    answer = measure(clinician, ready, kind="posture", **{f"L_of_{key}": said for key, said in items.items()})
    assert answer.status_code == 303, answer.text
    measure(clinician, ready, kind="arch", L_of_dorsum="62", L_of_truncated="186")
    measure(clinician, ready, kind="navicular", R_of_unloaded="44.5", R_of_loaded="35,5")
    page = clinician.get(f"/pair/{ready}/stance").text
    for words in ("+8, pronated", "0.333", "9.0\u00a0mm", "weighted kappa of 0.92", "weighted kappa of 0.40"):
        assert words in page


def test_lengths_are_taken_and_shown_in_the_clinic_s_inches(browser: Browser, lab: Lab, ready: str) -> None:
    with lab.database.writing() as db:
        db.get_one(Clinic, lab.house.clinics["house"]).units = "imperial"
    clinician = browser("clinician")
    measure(clinician, ready, kind="navicular", units="imperial", L_of_unloaded="1.7", L_of_loaded="1.4")
    assert "0.299\u00a0in" in clinician.get(f"/pair/{ready}/stance").text
    assert rows(lab.database)[0].found == {"unloaded": 432, "loaded": 356}, "to a tenth of a millimetre"


def test_faults_stand_at_their_fields_and_nothing_typed_is_lost(
    browser: Browser, database: Database, ready: str
) -> None:
    clinician = browser("clinician")
    hostile = "<script>alert(1)</script>"
    answer = measure(clinician, ready, L_of_leg_deg="-6", L_of_heel_deg=hostile, R_of_leg_deg="45", R_of_heel_deg="")
    assert answer.status_code == 422
    for field in ("L.heel_deg", "R.leg_deg", "R.heel_deg"):
        assert f'id="f-{field}"' in answer.text
        assert f'href="#f-{field}"' in answer.text
    assert hostile not in answer.text
    assert 'value="-6"' in answer.text
    part = measure(clinician, ready, kind="posture", R_of_arch="2")
    assert part.text.count("is still to be said") >= 5
    assert "fill in one foot at least" in measure(clinician, ready, kind="arch").text
    assert measure(clinician, ready, kind="gait").status_code == 422
    assert "barefoot" in measure(clinician, ready, kind="arch", devices="with", L_of_dorsum="6").text
    assert rows(database) == []


@pytest.mark.anywhere
@pytest.mark.parametrize(
    "points",
    [
        "300,100 300,500 300,520",  # one is missing
        "300,100 300,500 300,520 265,1201",  # outside of the photo
        "300,100 300,500 300,520 -5,920",
        "300,500 300,100 300,520 265,920",  # upside down
        "300,100 300,104 300,520 265,920",  # all but the same place
        "nan,100 300,500 300,520 265,920",
    ],
)
def test_points_that_make_no_line_are_refused_at_the_foot(
    browser: Browser, database: Database, ready: str, points: str
) -> None:
    clinician = browser("clinician")
    add(clinician, ready, jpeg())
    answer = measure(clinician, ready, photo="1", L_of_points=points)
    assert answer.status_code == 422
    assert 'href="#f-L.heel_deg"' in answer.text
    assert rows(database) == []


def test_it_is_drawn_over_time_once_there_are_two_days(browser: Browser, lab: Lab, on_day: OnDay, ready: str) -> None:
    clinician = browser("clinician")
    measure(clinician, ready, L_of_leg_deg="-6", L_of_heel_deg="7")
    measure(clinician, ready, devices="with", L_of_leg_deg="-6", L_of_heel_deg="4")
    assert "Over time" not in clinician.get(f"/pair/{ready}/stance").text
    lab.act(ready, "dispense", by="clinician")
    on_day(DUE)
    clinician = browser("clinician")
    measure(clinician, ready, L_of_leg_deg="-6", L_of_heel_deg="6")
    page = clinician.get(f"/pair/{ready}/stance").text
    assert "taken on different days" in page
    assert page.count('<figure class="chart">') == 3, "leg, heel and what lies between; the right was not measured"
    said = "7.0° valgus without devices, then 4.0° valgus with devices, then 6.0° valgus without devices"
    assert f"Heel to the vertical, left, the oldest first: {said}" in page
    assert " style=" not in page


def test_only_the_own_clinic_s_clinician_sees_or_measures_and_only_when_it_is_time(
    browser: Browser, lab: Lab, ready: str
) -> None:
    add(browser("clinician"), ready, jpeg())
    for who, status in (("technician", 403), ("manager", 403), ("quay clinician", 404)):
        person = browser(who)
        assert person.get(f"/pair/{ready}/stance").status_code == status
        assert person.get(f"/pair/{ready}/stance/photo/1").status_code == status
        assert add(person, ready, jpeg()).status_code == status
        assert measure(person, ready, L_of_leg_deg="0", L_of_heel_deg="0").status_code == status
    early = lab.order()
    answer = measure(browser("clinician"), early, L_of_leg_deg="0", L_of_heel_deg="0")
    assert answer.status_code == 409
    assert "stands at To check in" in answer.text
    assert browser("clinician").get(f"/pair/{early}/stance/photo/1").status_code == 404, "another pair's photo"


def test_a_photo_is_written_anew_served_to_be_saved_and_its_reading_journalled(
    app: FastAPI, browser: Browser, database: Database, ready: str
) -> None:
    exif = Image.Exif()
    exif[0x0112], exif[0x010F], exif[0x8825] = 6, "Camera of Ada", {1: "N", 2: (50.0, 10.0, 0.0)}
    clinician = browser("clinician")
    assert add(clinician, ready, jpeg(1200, 900, exif=exif, comment=b"Ada's kitchen")).status_code == 303
    answer = clinician.get(f"/pair/{ready}/stance/photo/1")
    assert answer.headers["content-type"] == "image/jpeg"
    assert answer.headers["content-disposition"] == f'attachment; filename="{ready}-stance-1.jpg"'
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cache-control"] == "private, no-store"
    photo = Image.open(io.BytesIO(answer.content))
    assert photo.size == (900, 1200), "turned as the camera was held"
    assert not photo.getexif()
    assert b"Ada" not in answer.content
    assert "comment" not in photo.info
    with database.reading() as db:
        assert len(db.exec(select(Entry).where(Entry.what == "patient_read")).all()) == 1
    add(clinician, ready, jpeg(1200, 900, exif=exif, comment=b"Ada's kitchen"))
    other_way = add(clinician, ready, jpeg(1200, 900, exif=exif, comment=b"Ada's kitchen"), "with")
    assert other_way.status_code == 422
    assert "the very photo" in other_way.text
    assert len(stored(app.state.storage)) == 1


def test_a_photo_may_be_large_and_nothing_else_may(browser: Browser, ready: str) -> None:
    clinician = browser("clinician")
    assert add(clinician, ready, jpeg() + bytes(5_000_000)).status_code == 303, "a telephone's, with a film behind it"
    assert add(clinician, ready, jpeg() + bytes(15_000_000)).status_code == 422
    assert add(clinician, ready, jpeg() + bytes(16_500_000)).status_code == 413
    assert measure(clinician, ready, plumb="x" * 2_000_000).status_code == 413


def test_a_photo_whose_entry_is_not_kept_in_the_log_is_not_kept_in_the_store(
    lab: Lab, database: Database, ready: str, tmp_path: Path
) -> None:
    """The log can't be written when the photo is there already: neither row nor file stays behind."""
    storage, photo = Storage(tmp_path / "files"), read(jpeg())
    with pytest.raises((OperationalError, ProgrammingError), match="entry"), database.writing() as db:
        db.execute(text("ALTER TABLE entry RENAME TO entry_away"))
        by = lab.house.viewer("clinician")
        actions.add_photo(db, storage, code=ready, with_devices=False, photo=photo, by=by)
        assert len(stored(storage)) == 1
    assert stored(storage) == []
    with database.reading() as db:
        assert db.exec(select(StancePhoto)).all() == []


def test_the_index_of_each_foot_is_added_up_while_it_is_filled_in_and_its_band_waits_for_the_last_item(
    browser: Browser, lab: Lab
) -> None:
    code = lab.order()
    lab.walk(code, "dispense")
    clinician, items = browser("clinician"), list(ITEMS)
    said = {f"L.{item}": "2" for item in items} | {f"R.{item}": "-1" for item in items[:5]} | {"R.arch": "nine"}
    answer = clinician.post(f"/pair/{code}/stance/posture", data=said).text
    assert re.findall(r'data-live="(.)">(.*)</p>', answer) == [
        ("L", "Total <b>+12, highly pronated</b>"),
        ("R", "Total <b>-4 so far, 2 items to go</b>"),  # what is no score is not said yet
    ]
    with lab.database.reading() as db:
        assert db.exec(select(FootMeasure)).all() == []
    wrong = clinician.post(f"/pair/{code}/stance", data=said | {"kind": "posture", "form": "posture"})
    assert wrong.status_code == 422
    assert "Total <b>+12, highly pronated</b>" in wrong.text, "without scripts it is told when the form comes back"
