"""What the rules notice in stock, who is told, and what is said to it."""

from collections.abc import Callable
from datetime import UTC, timedelta

import pytest
from fastapi.testclient import TestClient
from sqlmodel import col, select

from app import clock
from app.bench.actions import materials
from app.journal.tables import Entry
from tests.watch.conftest import WatchedLab

Person = Callable[[str], TestClient]
EVA = {"kind": "cover", "name": "EVA 3 mm", "material": "eva", "thickness": "3", "unit": "sheet", "per_side": "0.5"}


class Stocked(WatchedLab):
    def lot(self, number: str, stock: str, days: int = 0) -> int:
        """A lot of a material of which less than two sheets are little; `days` is how long it may be used still."""
        with self.database.writing() as db:
            by = self.house.viewer("technician")
            if not hasattr(self, "material"):
                self.material = materials.add(db, by=by, typed=EVA | {"low": "2"})
            day = clock.today(self.house.zone) + timedelta(days=days)
            typed = {"number": number, "stock": stock} | ({"expires_on": day.isoformat()} if days else {})
            return materials.add_lot(db, by=by, material_id=self.material, typed=typed)

    def covered(self, *lots: int) -> str:
        code = self.order()
        self.walk(code, "cover")
        self.act(code, "advance", facts={"lots": list(lots)})
        return code

    def about_lots(self) -> set[tuple[str, int | None]]:
        return {(each.flag.kind, each.flag.lot) for each in self.raised() if each.flag.lot and each.said is None}


@pytest.fixture
def lab(lab: WatchedLab) -> Stocked:
    return Stocked(lab.database, lab.house)


def test_little_is_noticed_with_the_act_that_uses_it_and_forgotten_when_more_comes(lab: Stocked) -> None:
    lot = lab.lot("C 1", "2")
    assert lab.about_lots() == set()
    lab.covered(lot)
    assert lab.about_lots() == {("low_stock", lot)}
    lab.lot("C 2", "4")
    assert lab.about_lots() == set()


def test_what_has_expired_is_noticed_the_day_after_its_last_and_is_no_stock(lab: Stocked) -> None:
    lot = lab.lot("C 1", "2", days=3)
    lab.pass_days(3)
    assert lab.about_lots() == set()
    lab.pass_days(1)
    assert lab.about_lots() == {("lot_expired", lot), ("low_stock", lot)}
    with lab.database.writing() as db:
        typed = {"stock": "0", "reason": "Thrown away."}
        materials.correct(db, by=lab.house.viewer("technician"), lot_id=lot, typed=typed)
    assert lab.about_lots() == {("low_stock", lot)}


def test_the_lab_is_told_and_no_clinic_is(lab: Stocked, browser: Person, program: Person) -> None:
    lot = lab.lot("C 1", "1")
    assert "Little is left of EVA 3 mm." in browser("technician").get("/flags").text
    page = browser("manager").get("/flags").text
    assert f'href="/materials/lots/{lot}"' in page
    assert "EVA 3 mm" not in browser("clinician").get("/flags").text
    (item,) = program("manager").get("/api/v1/flags").json()["items"]
    assert (item["kind"], item["code"], item["lot"]) == ("low_stock", None, lot)


def test_a_manager_puts_it_off_and_it_is_quiet_until_more_has_come_and_gone(lab: Stocked, browser: Person) -> None:
    lot = lab.lot("C 1", "1")
    (flag,) = [each.flag for each in lab.raised()]
    form = {"kind": "low_stock", "lot": str(lot), "since": flag.since.astimezone(UTC).isoformat(), "act": "acknowledge"}
    assert browser("technician").post("/flags", data=form | {"reason": "Ordered."}).status_code == 403
    assert browser("clinician").post("/flags", data=form | {"reason": "Ordered."}).status_code == 404
    assert browser("manager").post("/flags", data=form).status_code == 422
    assert browser("manager").post("/flags", data=form | {"reason": "Ordered."}).status_code == 303
    assert lab.about_lots() == set()
    with lab.database.reading() as db:
        entry = db.exec(select(Entry).where(col(Entry.what) == "flag_acknowledged")).one()
    assert (entry.subject, entry.subject_id) == ("lot", lot)
    second = lab.lot("C 2", "1.5")
    for _ in range(2):
        lab.covered(second)
    assert lab.about_lots() == {("low_stock", second)}, "it was enough in between: this is another one"
