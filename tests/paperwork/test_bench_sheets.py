"""Sheets for several pairs: what is weighed for twelve casts, what the oven takes, and that what was printed stays."""

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from app import clock
from app.bench.actions import holding, materials
from app.bench.queries import bench_settings
from app.bench.tables import BenchSetup, Lot, PrintedSheet
from app.journal.tables import Entry
from app.settings import ROOT
from app.trade import plaster
from tests.bench.conftest import SIDE, Lab
from tests.paperwork.conftest import A4, Sheet, print_sheet

Browser = Callable[[str], TestClient]
SHEETS = ("copolymer", 48), ("polypropylene", 40), ("polypropylene", 30)
SHOES = tuple({"kind": "walking", "size": size, "system": "eu"} for size in (38, 40, 42.5, 45))


def twelve(lab: Lab, until: str) -> list[str]:
    """Pairs of three sheets and four sizes, the last of them of one foot alone."""
    codes = []
    for number in range(12):
        shell, thickness = SHEETS[number % 3]
        sides = "R" if number == 11 else "LR"
        items = SIDE | {"shell": shell, "shell_thickness": thickness, "heel_cup": 120, "forefoot_post": "4 varus"}
        body = {side: dict(items) for side in sides}
        codes.append(lab.order(label=f"MR {3000 + number}", sides=sides, shoe=SHOES[number % 4], prescription=body))
        lab.walk(codes[-1], until)
    return codes


def printed(who: TestClient, kind: str, codes: list[str]) -> tuple[str, Sheet]:
    answer = who.post(f"/sheets/{kind}", data={"codes": codes})
    assert answer.status_code == 303, answer.text[:500]
    return answer.headers["location"], print_sheet(who, answer.headers["location"])


def settings_form(who: TestClient) -> dict[str, str]:
    """What the settings page would send if nothing were changed."""
    text = who.get("/lab/bench").text
    form = dict(re.findall(r'name="([\w.]+)"\s+type="text"\s+value="([^"]*)"', text))
    for name, options in re.findall(r'<select[^>]*name="([\w.]+)"[^>]*>(.*?)</select>', text, re.DOTALL):
        chosen = re.search(r'value="([^"]*)"\s+selected', options)
        form[name] = chosen[1] if chosen else ""
    form |= dict(re.findall(r'<textarea[^>]*name="([\w.]+)"[^>]*>([^<]*)</textarea>', text))
    return {name: value.replace("&#39;", "'") for name, value in form.items()}


def test_a_pour_sheet_for_twelve_pairs_weighs_out_the_sum_of_its_lines(browser: Browser, lab: Lab) -> None:
    codes, technician = twelve(lab, "pour"), browser("technician")
    page = technician.get("/sheets/pour", params={"codes": ",".join(codes)}).text
    weights = re.findall(r"<td.*?>(\d+)&nbsp;g</td>\s+<td.*?>(\d+)&nbsp;g</td>", page)
    lines = [tuple(map(int, grams)) for grams in weights]
    assert len(lines) == 12
    plaster_g, water_g = (sum(column) for column in zip(*lines, strict=True))
    _, sheet = printed(technician, "pour", codes)
    assert (sheet.pages, sheet.size_mm) == (1, A4)
    assert f"{plaster_g} g {water_g} g" in sheet.words
    assert water_g == pytest.approx(plaster_g * 0.6, abs=6)
    weighed = f"{round(plaster_g * 1.05)} g plaster"
    assert weighed in sheet.words
    assert f"{round(plaster_g * 1.05)} g" in page
    for code, (powder, water) in zip(codes, lines, strict=True):
        assert code in sheet.words
        assert f"{powder} g {water} g" in sheet.words
    assert "RIGHT ONLY" in sheet.words
    assert "+ 25 min" in sheet.words, "the final set of a medium plaster, 24.3 min, rounded up"
    assert "both 6.1 mm inner" in sheet.words, "4° over .97 of a breadth of .376 x (380 / 1.5 - 15) mm"
    assert "hot enough to burn skin" in sheet.words


def test_a_pair_without_any_size_is_named_and_not_counted(browser: Browser, lab: Lab) -> None:
    known, unknown = lab.order(shoe=SHOES[2]), lab.order()
    for code in (known, unknown):
        lab.walk(code, "pour")
    _, sheet = printed(browser("technician"), "pour", [known, unknown])
    assert f"Not in the sums: {unknown} left, {unknown} right" in sheet.words
    assert "1 pair ·" in sheet.words
    page = browser("technician").get(f"/pair/{unknown}").text
    assert page.count("size not known: measure the cast") == 3, "on both sides, and as where it comes from"
    assert "To mix for the pair" not in page


def test_a_scan_is_poured_by_its_own_volume_at_the_lab_s_height(browser: Browser, lab: Lab) -> None:
    """The left foot's scan holds 652.6 cm³ up to 60 mm and 713.9 up to 70; the right one is estimated from its shoe."""
    code = lab.order(captures={"L": "scan", "R": "foam"}, shoe=SHOES[0])
    technician, manager = browser("technician"), browser("manager")
    foot = (ROOT / "app/demo/feet/adult-left.stl").read_bytes()
    assert technician.post(f"/pair/{code}/scan/L", files={"scan": ("left.stl", foot)}).status_code == 303
    lab.walk(code, "pour")
    page = technician.get(f"/pair/{code}").text
    assert "653\u00a0cm³" in page
    assert "584\u00a0cm³ ± 20 %, estimated" in page
    assert manager.post("/lab/bench", data=settings_form(manager) | {"fill_height_mm": "70"}).status_code == 303
    assert "714\u00a0cm³" in technician.get(f"/pair/{code}").text


def cut_here(manager: TestClient) -> None:
    assert manager.post("/lab/bench", data=settings_form(manager) | {"cuts_blanks": "yes"}).status_code == 303


def sheets(lab: Lab, material: str, thickness: str, *lots: tuple[str, str], **more: str) -> list[int]:
    """Lots of one sheet, each by its number and what is left of it; 800 x 1000 mm unless `more` says otherwise."""
    technician = lab.house.viewer("technician")
    typed = {"kind": "sheet", "name": f"{material} {thickness}", "material": material, "thickness": thickness}
    typed |= {"unit": "sheet", "per_side": "0.1", "width_mm": "800", "length_mm": "1000"} | more
    with lab.database.writing() as db:
        of = materials.add(db, by=technician, typed=typed)
        return [
            materials.add_lot(db, by=technician, material_id=of, typed={"number": number, "stock": stock})
            for number, stock in lots
        ]


def lots_drawn(words: str) -> list[str]:
    """The lots that a load's sheets come from, in the order in which they are drawn."""
    return re.findall(r"Sheet \d+ of \d+, lot (.*?), \d+ × \d+\s+mm", words)


def test_an_oven_load_groups_twelve_pairs_and_lays_their_blanks_on_the_stock(browser: Browser, lab: Lab) -> None:
    codes = twelve(lab, "press")
    cut_here(browser("manager"))
    sheets(lab, "copolymer", "4.8", ("CP-1", "2"))
    sheets(lab, "polypropylene", "4", ("PP-4", "1"))
    sheets(lab, "polypropylene", "3", ("PP-3", "2"))
    _, sheet = printed(browser("technician"), "oven", codes)
    assert sheet.size_mm == A4
    for words in (
        "Copolymer 4.8 mm: 8 shells",
        "Polypropylene 4.0 mm: 8 shells",
        "Polypropylene 3.0 mm: 7 shells",
        "Oven is set to 199 °C Sheet leaves it at 152–166 °C",
        "Oven is set to 180 °C Sheet leaves it at 150–180 °C",
        "Sheet 1 of 1, lot CP-1, 1000 × 800 mm: 8 blanks",
        "% used",
        "dry heat gloves",
        "Published: Foster",
        "From memory: Sheet temperature",
    ):
        assert words in sheet.words
    for number, code in enumerate(codes):
        assert sheet.words.count(code) == (2 if number == 11 else 4), "in the list and on a sheet, each side once"


def test_blanks_are_cut_from_the_lot_in_use_then_from_what_expires_first_and_from_whole_sheets_alone(
    browser: Browser, lab: Lab
) -> None:
    """Four pairs, eight shells; a sheet of 300 x 500 mm holds three of them."""
    codes, technician, today = [], browser("technician"), clock.today(lab.house.zone)
    cut_here(browser("manager"))
    for number in range(4):
        codes.append(lab.order(label=f"A {number}", shoe=SHOES[2]))
        lab.walk(codes[-1], "press")
    left = {"LATER": "1.9", "SOONER": "1.9", "IN USE": "1.9", "HELD": "5", "GONE": "5", "PART": "0.9"}
    lots = sheets(lab, "polypropylene", "4", *left.items(), width_mm="300", length_mm="500")
    of, technicians = dict(zip(left, lots, strict=True)), lab.house.viewer("technician")
    with lab.database.writing() as db:
        for name, ahead in {"LATER": 90, "SOONER": 9, "GONE": -1}.items():
            db.get_one(Lot, of[name]).expires_on = today + timedelta(days=ahead)
        materials.take_into_use(db, by=technicians, lot_id=of["IN USE"])
        holding.hold_lot(db, lot_id=of["HELD"], reason="Cracks.", by=lab.house.viewer("manager"))
    page = technician.get("/sheets/oven", params={"codes": codes}).text
    assert lots_drawn(page) == ["IN USE", "SOONER", "LATER"]
    assert "No sheet in stock holds" not in page
    with lab.database.writing() as db:
        materials.put_away(db, by=technicians, lot_id=of["IN USE"])
    assert lots_drawn(technician.get("/sheets/oven", params={"codes": codes}).text) == ["SOONER", "LATER", "IN USE"]
    with lab.database.writing() as db:
        for name in ("SOONER", "LATER"):
            db.get_one(Lot, of[name]).stock = 0
    page = technician.get("/sheets/oven", params={"codes": codes}).text
    assert lots_drawn(page) == ["IN USE"]
    assert "No sheet in stock holds" in page


def test_sheets_of_another_material_or_of_no_known_size_are_not_cut(browser: Browser, lab: Lab) -> None:
    code = lab.order(shoe=SHOES[2])
    lab.walk(code, "press")
    cut_here(browser("manager"))
    sheets(lab, "polypropylene", "4", ("NO SIZE", "5"), width_mm="")
    sheets(lab, "polypropylene", "3", ("THIN", "5"))
    sheets(lab, "copolymer", "4", ("OTHER", "5"))
    page = browser("technician").get("/sheets/oven").text
    assert lots_drawn(page) == []
    assert f"No sheet in stock holds: {code} L, {code} R." in page


def test_a_printed_load_keeps_the_sheets_that_it_was_laid_out_on(browser: Browser, lab: Lab) -> None:
    code, technician = lab.order(shoe=SHOES[2]), browser("technician")
    lab.walk(code, "press")
    cut_here(browser("manager"))
    first, _ = sheets(lab, "polypropylene", "4", ("PP-1", "1"), ("PP-2", "7"))
    address, before = printed(technician, "oven", [code])
    assert lots_drawn(before.words) == ["PP-1"]
    with lab.database.writing() as db:
        holding.hold_lot(db, lot_id=first, reason="Cracks.", by=lab.house.viewer("manager"))
    after = print_sheet(technician, address)
    assert after.words == before.words
    assert after.picture.tobytes() == before.picture.tobytes(), "the drawing, too"
    assert lots_drawn(technician.get("/sheets/oven").text) == ["PP-2"], "what is worked out now"


def test_a_load_that_was_printed_when_the_settings_held_the_sheets_is_drawn_as_it_was(
    browser: Browser, lab: Lab
) -> None:
    code, technician, manager = lab.order(shoe=SHOES[2]), browser("technician"), browser("manager")
    lab.walk(code, "press")
    cut_here(manager)
    sheets(lab, "polypropylene", "4", ("PP-1", "1"))
    address, new = printed(technician, "oven", [code])
    row = {"material": "polypropylene", "thickness_mm": 4.0, "width_mm": 500, "length_mm": 600, "count": 2}
    with lab.database.writing() as db:
        kept = db.get_one(PrintedSheet, int(address.split("/")[3]))
        kept.settings, kept.stock = kept.settings | {"sheets": [row, row | {"material": "eva"}]}, None
        db.get_one(BenchSetup, 1).settings = kept.settings
    old = print_sheet(technician, address)
    assert "Sheet 1 of 1, 600 × 500 mm: 2 blanks" in old.words
    assert "lot" not in old.words
    assert old.words.count(code) == new.words.count(code) == 4
    assert lots_drawn(technician.get("/sheets/oven").text) == ["PP-1"], "a list that is still stored is no stock"
    assert "Sheets in stock" not in manager.get("/lab/bench").text
    assert manager.post("/lab/bench", data=settings_form(manager) | {"kerf_mm": "4"}).status_code == 303
    with lab.database.reading() as db:
        assert "sheets" not in db.get_one(BenchSetup, 1).settings


def test_without_saw_the_blanks_are_listed_and_nothing_is_drawn(browser: Browser, lab: Lab) -> None:
    code = lab.order(shoe=SHOES[2])
    lab.walk(code, "press")
    _, sheet = printed(browser("technician"), "oven", [code])
    assert "mm Measured" not in sheet.words
    assert "% used" not in sheet.words
    assert sheet.words.count(code) == 2


def test_a_weak_vacuum_and_a_sheet_that_is_not_in_the_table_are_said(browser: Browser, lab: Lab) -> None:
    manager = browser("manager")
    assert manager.post("/lab/bench", data=settings_form(manager) | {"oven.1.vacuum_inhg": "16"}).status_code == 303
    weak = lab.order(shoe=SHOES[2])
    leather = lab.order(shoe=SHOES[2], prescription={side: SIDE | {"shell": "leather"} for side in "LR"})
    for code in (weak, leather):
        lab.walk(code, "press")
    _, sheet = printed(browser("technician"), "oven", [weak, leather])
    assert "Vacuum 16 inHg" in sheet.words
    assert "Weak vacuum: about 20 inHg" in sheet.words
    assert "The oven table has no row for this sheet" in sheet.words
    page = browser("technician").get("/queue/press").text
    assert page.count("oven 180\u00a0°C, sheet 150–180\u00a0°C") == 1


def test_what_was_printed_stays_as_it_was(browser: Browser, lab: Lab) -> None:
    code, technician, manager = lab.order(shoe=SHOES[2]), browser("technician"), browser("manager")
    lab.walk(code, "pour")
    address, before = printed(technician, "pour", [code])
    form = settings_form(manager) | {"consistency": "80", "plaster_class": "slow", "fill_height_mm": "80"}
    assert manager.post("/lab/bench", data=form).status_code == 303
    lab.walk(code, "press")
    assert print_sheet(technician, address).words == before.words
    assert "80 parts of water" not in before.words
    html = technician.get(address.removesuffix(".pdf")).text
    assert "60 parts of water to 100 of plaster" in html
    with lab.database.reading() as db:
        (entry,) = db.exec(select(Entry).where(Entry.what == "sheet_printed")).all()
        assert (entry.facts, entry.staff_id) == (
            {"kind_of_sheet": "pour", "codes": [code]},
            lab.house.people["technician"],
        )


def test_a_pair_that_has_moved_on_is_left_out_and_said(browser: Browser, lab: Lab) -> None:
    here, gone, technician = lab.order(shoe=SHOES[0]), lab.order(shoe=SHOES[0]), browser("technician")
    lab.walk(here, "pour")
    lab.walk(gone, "press")
    page = technician.get("/sheets/pour", params={"codes": [here, gone, "26-00000-X", "nonsense"]}).text
    assert f"{gone} is left out: no side of it has work at To pour; it is at To press." in page
    assert "does not read like a pair" in page
    assert page.count(f'href="/pair/{here}"') == 1
    assert technician.post("/sheets/pour", data={"codes": [gone]}).status_code == 422
    assert technician.get("/sheets/lunch").status_code == 404
    assert "No pair to work out" in technician.get("/sheets/oven", params={"codes": here}).text


def test_ticks_in_the_queue_choose_the_pairs_and_none_is_the_first_of_them(browser: Browser, lab: Lab) -> None:
    codes = [lab.order(label=f"A {number}", shoe=SHOES[1]) for number in range(3)]
    for code in codes:
        lab.walk(code, "pour")
    technician = browser("technician")
    queue = technician.get("/queue/pour").text
    assert queue.count('name="codes"') == 3
    assert queue.count('form="sheet"') == 3
    assert 'form="sheet"' not in technician.get("/").text
    assert 'form="sheet"' not in browser("clinician").get("/queue/pour").text
    assert all(f'href="/pair/{code}"' in technician.get("/sheets/pour").text for code in codes)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("consistency", "18"),
        ("waste_percent", "lots"),
        ("fill_height_mm", "65"),
        ("kerf_mm", "2.5"),
        ("oven.0.oven_c", "400"),
        ("oven.0.sheet_high_c", "100"),
        ("oven.0.source", ""),
        ("oven.0.trust", "certain"),
    ],
)
def test_a_setting_that_can_t_be_is_told_at_its_field_and_nothing_is_lost(
    browser: Browser, lab: Lab, field: str, value: str
) -> None:
    manager = browser("manager")
    form = settings_form(manager) | {field: value, "cover_margin_mm": "7.5"}
    answer = manager.post("/lab/bench", data=form)
    assert answer.status_code == 422
    assert f'href="#f-{field}"' in answer.text
    assert 'value="7.5"' in answer.text
    with lab.database.reading() as db:
        assert bench_settings(db).cover_margin_mm == 5
        assert not db.exec(select(Entry).where(Entry.what == "bench_set_up")).all()


def test_settings_are_journalled_with_old_and_new_and_saving_nothing_writes_nothing(browser: Browser, lab: Lab) -> None:
    manager = browser("manager")
    assert manager.post("/lab/bench", data=settings_form(manager)).status_code == 303
    changed: dict[str, Any] = {"consistency": "70", "oven.4.out": "yes", "oven.0.oven_c": "195"}
    changed |= {"oven.0.trust": "lab's own", "oven.0.source": "Tried by Tamsin on four sheets"}
    assert manager.post("/lab/bench", data=settings_form(manager) | changed).status_code == 303
    with lab.database.reading() as db:
        (entry,) = db.exec(select(Entry).where(Entry.what == "bench_set_up")).all()
        settings = bench_settings(db)
    assert entry.facts["consistency"] == [60, 70]
    assert entry.facts["eva 1–20 mm"][1] is None
    assert "Tried by Tamsin" not in str(entry.facts)
    assert (settings.consistency, len(settings.oven), settings.oven[0].trust) == (70, 4, "lab's own")
    journal = manager.get("/journal").text
    assert "Consistency: 60 → 70" in journal
    assert "Tried by Tamsin on four sheets" in journal


def test_the_bench_s_figures_stand_on_the_pair_s_page_stage_by_stage(app: FastAPI, browser: Browser, lab: Lab) -> None:
    items = SIDE | {"rearfoot_post": "4/4", "heel_cup": 120}
    code = lab.order(shoe=SHOES[2], prescription={"L": items, "R": items | {"rearfoot_post": "6 valgus"}})
    technician = browser("technician")
    lab.walk(code, "pour")
    page = technician.get(f"/pair/{code}").text
    powder = plaster.mix(plaster.estimated_cm3(268.3, 268.3 * 0.376, 60)).plaster_g
    assert "Pour sheet" in page
    assert f"{round(powder)} g + {round(powder * 0.6)}" in page
    assert "Where does this come from?" in page
    assert "by the shoe&#39;s size" in page
    lab.walk(code, "press")
    assert "Press sheet" in technician.get(f"/pair/{code}").text
    lab.walk(code, "cover")
    page = technician.get(f"/pair/{code}").text
    assert "Post and lift sheet" in page, "grinding is switched off in this lab: its figures stand at the next stage"
    assert "4/4 varus: 4.2\u00a0mm, inner edge thick" in page
    assert "6/0 valgus: 6.3\u00a0mm, outer edge thick" in page
    assert "Cover sheet" in page
    assert "278\u00a0mm" in page, "to the toes: 268 mm and 10 mm of room"
    lab.walk(code, "trim")
    assert "stage-sheet" not in technician.get(f"/pair/{code}").text


def test_a_measured_foot_goes_before_the_shoe_s_size(browser: Browser, lab: Lab) -> None:
    codes = [lab.order(shoe=SHOES[2], feet=feet) for feet in ({}, {"L": {"length": 2_600}, "R": {"length": 2_600}})]
    for code in codes:
        lab.walk(code, "pour")
    technician = browser("technician")
    by_shoe, measured = (technician.get("/sheets/pour", params={"codes": code}).text for code in codes)
    assert "± 20 %" in by_shoe
    assert f"± {plaster.FILL_ERROR:g} %" in measured
    assert "by its measures" in technician.get(f"/pair/{codes[1]}").text


def test_an_oven_typed_in_fahrenheit_is_kept_in_celsius(browser: Browser, lab: Lab) -> None:
    manager = browser("manager")
    assert manager.post("/lab/bench", data=settings_form(manager) | {"oven.1.oven_c": "390 F"}).status_code == 303
    assert settings_form(manager)["oven.1.oven_c"] == "198.9"
