"""Lots at the bench: noted with the work on each side, counted down, scrapped and taken back with it, traced, held."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import event
from sqlmodel import col, select

from app import clock
from app.bench import actions as bench
from app.bench import queries
from app.bench.actions import holding, materials
from app.bench.queries import NoticeRow, OfPair
from app.bench.rules.machine import Asked
from app.bench.rules.materials import LotRow
from app.bench.rules.picks import in_use, offers
from app.bench.rules.replay import replay
from app.database import Database
from app.errors import BadInput, MovedOn, NotAllowed, NotFound, Unready
from app.journal.tables import Entry
from tests.bench.conftest import SIDE, Lab
from tests.house import House, open_lab

SHEET = {"kind": "sheet", "name": "PP 4 mm", "material": "polypropylene", "thickness": "4", "unit": "sheet"}
COVER = {"kind": "cover", "name": "EVA 3 mm", "material": "eva", "thickness": "3", "unit": "sheet", "per_side": "0.25"}
PLASTER = {"kind": "plaster", "name": "Plaster", "unit": "g", "per_side": "900", "low": "5000"}
GLUE = {"kind": "adhesive", "name": "Contact glue", "unit": "ml", "per_side": "15"}


class Store(Lab):
    """A lab that keeps its lots."""

    def material(self, by: str = "technician", **typed: str) -> int:
        with self.database.writing() as db:
            return materials.add(db, by=self.house.viewer(by), typed=SHEET | {"per_side": "0.5"} | typed)

    def lot(self, material: int, number: str = "A 100", stock: str = "10", **typed: str) -> int:
        with self.database.writing() as db:
            typed |= {"number": number, "stock": stock}
            return materials.add_lot(db, by=self.house.viewer("technician"), material_id=material, typed=typed)

    def sheets(self, number: str = "A 100", **more: str) -> int:
        """A lot of the sheets that every pair of these stories is pressed from."""
        with self.database.reading() as db:
            known = [each.id for each in queries.materials(db) if each.name == SHEET["name"]]
        return self.lot(known[0] if known else self.material(), number, **more)

    def pressed(self, *lots: int, until: str = "press", **more: Any) -> str:
        """A pair that was pressed from these lots and walked on to `until`."""
        code = self.order(**more)
        self.walk(code, "press")
        self.act(code, "advance", facts={"lots": list(lots)})
        if until != "press":
            self.walk(code, until)
        return code

    def use(self, lot: int) -> str:
        with self.database.writing() as db:
            return materials.take_into_use(db, by=self.house.viewer("technician"), lot_id=lot)

    def put_away(self, lot: int) -> None:
        with self.database.writing() as db:
            materials.put_away(db, by=self.house.viewer("technician"), lot_id=lot)

    def in_use(self) -> list[str]:
        with self.database.reading() as db:
            return [each.number for each in queries.in_use(db)]

    def one_tap(self, stage: str, body: dict[str, dict[str, Any]], sides: str = "LR") -> list[tuple[str, str, str]]:
        """Of a side with this prescription: number, sides, and why it is not noted by itself."""
        today = clock.today(self.house.zone)
        with self.database.reading() as db:
            found = in_use(queries.in_use(db), stage, body, sides, today)
        return [(each.lot.number, each.sides, each.why_not) for each in found]

    def found(self, lot: int) -> LotRow:
        with self.database.reading() as db:
            return queries.lot(db, lot)

    def inside(self, code: str) -> list[OfPair]:
        with self.database.reading() as db:
            return queries.lots_of_pair(db, self.row(code)["id"])

    def sides(self, code: str) -> list[tuple[str, str, bool]]:
        """Number of the lot, side, and whether it was scrapped."""
        return [(use.number, use.side, use.scrapped_at is not None) for use in self.inside(code)]

    def hold(self, lot: int, by: str = "manager", reason: str = "Cracks at the heel.") -> list[str]:
        with self.database.writing() as db:
            return holding.hold_lot(db, lot_id=lot, reason=reason, by=self.house.viewer(by))

    def lift(self, lot: int) -> list[str]:
        with self.database.writing() as db:
            return holding.lift(db, lot_id=lot, reason="Tested well.", by=self.house.viewer("manager"))

    def notices(self, clinic: str) -> list[NoticeRow]:
        with self.database.reading() as db:
            return queries.notices(db, clinics={self.house.clinics[clinic]})


@pytest.fixture
def lab(database: Database) -> Store:
    return Store(database, open_lab(database))


def test_a_lot_is_noted_on_both_sides_and_the_stock_counts_down(lab: Store) -> None:
    lot = lab.sheets()
    code = lab.pressed(lot)
    assert lab.sides(code) == [("A 100", "L", False), ("A 100", "R", False)]
    assert lab.found(lot).stock == 9_00, "half a sheet a side"
    with lab.database.reading() as db:
        assert queries.history(db, lab.row(code)["id"])[0].facts["lots"] == [lot]
        (left, right), more = queries.uses_of_lot(db, lot, pairs=10)
    assert (left.code, left.label, left.side, right.side, more) == (code, "MR 2210", "L", "R", None)


def test_a_pair_made_without_lots_is_as_it_always_was(lab: Store) -> None:
    lab.sheets()
    code = lab.order()
    lab.walk(code, "wear_in")
    assert lab.inside(code) == []


def test_an_act_without_a_lot_asks_the_database_nothing_about_lots(lab: Store) -> None:
    lot = lab.sheets()

    def asked_of_lots(**more: Any) -> list[str]:
        code, sent = lab.order(label=f"A {len(more)}"), []
        lab.walk(code, "press")

        def note(_connection: Any, _cursor: Any, statement: str, *_rest: Any) -> None:
            sent.append(statement)

        event.listen(lab.database.engine, "before_cursor_execute", note)
        lab.act(code, "advance", from_stage="press", **more)
        event.remove(lab.database.engine, "before_cursor_execute", note)
        return [each for each in sent if "lot" in each]

    assert asked_of_lots() == []
    assert 0 < len(asked_of_lots(facts={"lots": [lot]})) <= 6


def test_each_side_gets_the_lot_of_its_own_material(lab: Store) -> None:
    thick = lab.lot(lab.material(name="PP 5 mm", thickness="5"), "B 200")
    lot = lab.sheets()
    body = {"L": dict(SIDE), "R": SIDE | {"shell_thickness": 50}}
    code = lab.pressed(lot, thick, prescription=body)
    assert sorted(lab.sides(code)) == [("A 100", "L", False), ("B 200", "R", False)]
    assert (lab.found(lot).stock, lab.found(thick).stock) == (9_50, 9_50)


def test_one_side_at_a_time_is_noted_alone(lab: Store) -> None:
    first, second = lab.sheets(), lab.sheets("A 101")
    code = lab.order()
    lab.walk(code, "press")
    lab.act(code, "advance", sides="L", facts={"lots": [first]})
    lab.act(code, "advance", sides="R", facts={"lots": [second]})
    assert lab.sides(code) == [("A 100", "L", False), ("A 101", "R", False)]


def test_plaster_covers_and_glue_are_noted_where_they_are_used(lab: Store) -> None:
    plaster, glue = (lab.lot(lab.material(**each), "P 1", "20000") for each in (PLASTER, GLUE))
    cover = lab.lot(lab.material(**COVER), "C 1")
    code = lab.order()
    lab.walk(code, "pour")
    lab.act(code, "advance", facts={"lots": [plaster]})
    lab.walk(code, "cover")
    lab.act(code, "advance", facts={"lots": [cover, glue], "sets_for": 30})
    noted = {(use.stage, use.kind, use.side) for use in lab.inside(code)}
    assert noted == {
        (stage, kind, side)
        for stage, kind in (("pour", "plaster"), ("cover", "cover"), ("cover", "adhesive"))
        for side in "LR"
    }
    assert lab.found(plaster).stock == (20_000 - 1_800) * 100
    assert lab.found(glue).stock == (20_000 - 30) * 100
    assert lab.found(cover).stock == 9_50


def test_work_booked_in_one_go_takes_the_lots_of_all_its_stages(lab: Store) -> None:
    plaster, lot = lab.lot(lab.material(**PLASTER), "P 1", "20000"), lab.sheets()
    code = lab.order()
    lab.walk(code, "pour")
    lab.act(code, "advance", to_stage="cover", facts={"lots": [plaster, lot]})
    assert {(use.stage, use.number) for use in lab.inside(code)} == {("pour", "P 1"), ("press", "A 100")}


@pytest.mark.parametrize("thing", ["other material", "another stage", "unknown", "expired", "no list"])
def test_a_lot_that_can_t_be_in_it_is_refused_by_name_and_nothing_moves(lab: Store, thing: str) -> None:
    code = lab.order()
    lab.walk(code, "press")
    day = (clock.today(lab.house.zone) - timedelta(days=1)).isoformat()
    made: dict[str, Callable[[], Any]] = {
        "other material": lambda: [lab.lot(lab.material(name="HDPE", material="hdpe"), "H 1")],
        "another stage": lambda: [lab.lot(lab.material(**PLASTER), "P 1")],
        "unknown": lambda: [4711],
        "expired": lambda: [lab.sheets("E 1", expires_on=day)],
        "no list": lambda: "A 100",
    }
    lots = made[thing]()
    with pytest.raises(BadInput) as refused:
        lab.act(code, "advance", facts={"lots": lots})
    words = {
        "other material": "HDPE is not what is prescribed: polypropylene 4 mm.",
        "another stage": "Plaster is noted at 'To pour', not here.",
        "unknown": "There is no lot with the number 4711.",
        "expired": f"Lot E 1 of PP 4 mm has expired on {day}; take another.",
        "no list": "The lots that went in are a list of their numbers.",
    }
    assert refused.value.fields == {"lots": words[thing]}
    assert lab.at(code).stage == "press"
    assert lab.inside(code) == []


def test_a_lot_may_be_used_on_its_last_day(lab: Store) -> None:
    lot = lab.sheets(expires_on=clock.today(lab.house.zone).isoformat())
    assert len(lab.inside(lab.pressed(lot))) == 2


def test_what_a_side_was_made_of_before_it_went_back_stays_listed_as_scrapped(lab: Store) -> None:
    old, new = lab.sheets(), lab.sheets("A 101")
    code = lab.pressed(old, until="trim")
    lab.act(code, "send_back", to_stage="press", sides="L", reason="cracked")
    assert lab.sides(code) == [("A 100", "L", True), ("A 100", "R", False)]
    lab.act(code, "advance", facts={"lots": [new]})
    assert lab.sides(code) == [("A 100", "L", True), ("A 100", "R", False), ("A 101", "L", False)]
    assert lab.found(old).stock == 9_00, "what was scrapped was used up"


def test_going_back_to_the_cover_leaves_the_shell_in_the_device(lab: Store) -> None:
    code = lab.pressed(lab.sheets(), until="trim")
    lab.act(code, "send_back", to_stage="cover", sides="LR", reason="edges")
    assert {scrapped for _, _, scrapped in lab.sides(code)} == {False}


def test_a_new_capture_scraps_everything_of_its_side(lab: Store) -> None:
    code = lab.pressed(lab.sheets(), until="cover")
    lab.act(code, "recapture", sides="R", reason="wrong_patient")
    assert lab.sides(code) == [("A 100", "L", False), ("A 100", "R", True)]


def test_taking_an_act_back_takes_its_lots_back_and_the_stock_is_what_it_was(lab: Store) -> None:
    lot = lab.sheets()
    code = lab.pressed(lot)
    lab.act(code, "take_back")
    assert lab.inside(code) == []
    assert lab.found(lot).stock == 10_00
    with lab.database.reading() as db:
        assert replay(queries.steps(db, lab.row(code)["id"])).stage == "press"


def test_taking_a_send_back_back_takes_the_scrapping_back(lab: Store) -> None:
    code = lab.pressed(lab.sheets(), until="cover")
    lab.act(code, "send_back", to_stage="press", sides="LR", reason="shape")
    lab.act(code, "take_back")
    assert {scrapped for _, _, scrapped in lab.sides(code)} == {False}


def test_a_new_cover_at_a_later_visit_replaces_the_old_one(lab: Store) -> None:
    material = lab.material(**COVER)
    first, second = lab.lot(material, "C 1"), lab.lot(material, "C 2")
    code = lab.order()
    lab.walk(code, "cover")
    lab.act(code, "advance", facts={"lots": [first]})
    lab.walk(code, "wear_in")
    lab.act(code, "refurbish", by="clinician")
    lab.walk(code, "cover")
    assert lab.sides(code) == [("C 1", "L", False), ("C 1", "R", False)], "until the new one is on, the old one is"
    lab.act(code, "advance", facts={"lots": [second]})
    assert {(number, scrapped) for number, _, scrapped in lab.sides(code)} == {("C 1", True), ("C 2", False)}


def test_a_side_that_a_remake_carries_along_takes_its_lots_with_it(lab: Store) -> None:
    lot = lab.sheets()
    code = lab.pressed(lot, until="wear_in")
    moved = lab.act(code, "remake", by="clinician", sides="L", reason="broken", facts={"start": "positive"})
    assert lab.sides(moved.state.code) == [("A 100", "R", False)]
    assert lab.found(lot).stock == 9_00


def test_when_the_act_fails_nothing_of_its_lots_stays(lab: Store) -> None:
    lot = lab.sheets()
    code = lab.order()
    lab.walk(code, "press")
    with pytest.raises(ZeroDivisionError), lab.database.writing() as db:
        asked = Asked("advance", "press", facts={"lots": [lot]})
        bench.move(db, code=code, asked=asked, by=lab.house.viewer("technician"))
        raise ZeroDivisionError
    assert lab.found(lot).stock == 10_00
    assert lab.inside(code) == []


def test_holding_a_lot_stops_open_pairs_that_it_is_in_and_lists_every_wearer(lab: Store) -> None:
    lot, other = lab.sheets(), lab.sheets("A 101")
    open_one = lab.pressed(lot, label="A 1")
    worn = lab.pressed(lot, until="wear_in", label="A 2")
    settled = lab.pressed(lot, until="wear_in", label="A 3")
    lab.act(settled, "settle", by="clinician", facts={"review": REVIEW})
    quay = lab.pressed(lot, by="quay clinician", clinic="quay", label="Q 1")
    untouched = lab.pressed(other, label="A 4")
    scrapped = lab.pressed(lot, until="cover", label="A 5")
    lab.act(scrapped, "send_back", to_stage="press", sides="LR", reason="cracked")
    withdrawn = lab.pressed(lot, label="A 6")
    lab.act(withdrawn, "withdraw", by="manager", reason="Ordered twice.", facts={"code": withdrawn})

    assert lab.hold(lot) == sorted([open_one, worn, quay])
    for code in (open_one, worn, quay):
        row = lab.row(code)
        assert row["parked_on"] == "lab"
        with lab.database.reading() as db:
            (hold,) = queries.hold_rows(db, row["id"])
        assert (hold.reason, hold.words) == ("lot_held", "Lot A 100 of PP 4 mm: Cracks at the heel.")
    assert {lab.row(code)["parked_on"] for code in (untouched, scrapped)} == {None}
    assert {each.code for each in lab.notices("house")} == {open_one, worn, settled}
    assert [each.code for each in lab.notices("quay")] == [quay]


REVIEW = {"hours_reached": 8, "comfort": 8, "pain": 1, "pain_relief": 70, "skin": "clear"}


def test_a_held_lot_can_t_be_picked_and_can_again_when_the_hold_is_lifted(lab: Store) -> None:
    lot = lab.sheets()
    lab.hold(lot)
    code = lab.order()
    lab.walk(code, "press")
    with pytest.raises(BadInput, match="Lot A 100 of PP 4 mm is held: nothing is made from it"):
        lab.act(code, "advance", facts={"lots": [lot]})
    with pytest.raises(Unready, match="held already"):
        lab.hold(lot)
    lab.lift(lot)
    lab.act(code, "advance", facts={"lots": [lot]})
    assert len(lab.inside(code)) == 2


def test_while_the_lot_is_held_only_a_manager_lets_the_pair_go_on(lab: Store) -> None:
    code = lab.pressed(lot := lab.sheets())
    lab.hold(lot)
    for act, more in (("resume", {}), ("answer", {"reason": "Looks fine."})):
        with pytest.raises(NotAllowed, match=f"Lot A 100 in {code} is held"):
            lab.act(code, act, **more)
    lab.act(code, "resume", by="manager")
    assert lab.row(code)["parked_on"] is None


def test_another_question_is_answered_as_ever_while_the_lot_is_held(lab: Store) -> None:
    code = lab.pressed(lot := lab.sheets())
    lab.act(code, "ask", reason="Which edge?", waiting_on="lab")
    question = lab.at(code).holds[0].id
    lab.hold(lot)
    lab.act(code, "answer", reason="The left.", facts={"holds": [question]})
    assert [hold.kind for hold in lab.at(code).holds] == ["reason"]


def test_a_side_that_is_made_again_from_another_lot_goes_on_while_the_first_is_held(lab: Store) -> None:
    lot, other = lab.sheets(), lab.sheets("A 101")
    code = lab.pressed(lot, until="cover")
    lab.hold(lot)
    lab.act(code, "send_back", to_stage="press", sides="LR", reason="cracked")
    lab.act(code, "resume")
    lab.act(code, "advance", facts={"lots": [other]})
    assert lab.at(code).stage == "cover"


def test_lifting_the_hold_resumes_nothing_until_somebody_says_so(lab: Store) -> None:
    lot = lab.sheets()
    first, second = lab.pressed(lot, label="A 1"), lab.pressed(lot, label="A 2")
    lab.act(second, "ask", reason="Which edge?", waiting_on="clinic")
    lab.hold(lot)
    with pytest.raises(Unready, match="lift the hold first"), lab.database.writing() as db:
        holding.resume_pairs(db, lot_id=lot, by=lab.house.viewer("manager"))
    assert lab.lift(lot) == [first, second]
    assert lab.row(first)["parked_on"] == "lab"
    with lab.database.writing() as db:
        assert holding.resume_pairs(db, lot_id=lot, by=lab.house.viewer("manager")) == [first, second]
    assert lab.row(first)["parked_on"] is None
    assert lab.row(second)["parked_on"] == "clinic", "its own question is still open"
    with lab.database.writing() as db:
        assert holding.resume_pairs(db, lot_id=lot, by=lab.house.viewer("manager")) == []


@pytest.mark.parametrize("who", ["technician", "clinician"])
def test_holding_and_lifting_are_a_manager_s(lab: Store, who: str) -> None:
    with pytest.raises(NotAllowed):
        lab.hold(lab.sheets(), by=who)


def test_a_hold_needs_a_reason_and_a_lot(lab: Store) -> None:
    with pytest.raises(BadInput, match="Say why the lot is held"):
        lab.hold(lab.sheets(), reason=" ")
    with pytest.raises(NotFound):
        lab.hold(4711)


def test_a_clinic_notes_that_its_wearer_was_told_and_the_pair_returned_and_no_other_clinic_s(lab: Store) -> None:
    code = lab.pressed(lot := lab.sheets(), until="wear_in")
    lab.hold(lot)
    (notice,) = lab.notices("house")
    assert (notice.told_at, notice.returned_at) == (None, None)

    def tick(what: str, by: str) -> str:
        with lab.database.writing() as db:
            who = lab.house.viewer(by)
            return holding.tick(db, hold_id=notice.hold_id, pair_id=notice.pair_id, what=what, by=who)

    with pytest.raises(NotFound):
        tick("told", "quay clinician")
    with pytest.raises(NotAllowed):
        tick("told", "technician")
    assert tick("told", "clinician") == code
    tick("returned", "clinician")
    (notice,) = lab.notices("house")
    assert (notice.told_by, notice.returned_by) == ("Clinician", "Clinician")
    lab.lift(lot)
    assert lab.notices("house") == []


def test_a_pair_that_comes_to_the_lot_while_it_is_being_held_is_not_overlooked(
    lab: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between the two looks another act has noted the lot: nothing is held, and the sentence says to do it again."""
    lot = lab.sheets()
    lab.pressed(lot)
    looks = iter([[], ["meanwhile"]])
    monkeypatch.setattr(queries, "pairs_with_lot", lambda *_, **__: next(looks))
    with pytest.raises(MovedOn, match="hold it once more"):
        lab.hold(lot)
    assert not lab.found(lot).held


def test_the_stock_is_corrected_with_a_reason_and_both_figures_are_kept(lab: Store) -> None:
    lot = lab.sheets()
    with lab.database.writing() as db:
        typed = {"stock": "7,5", "reason": "Two sheets were cracked."}
        materials.correct(db, by=lab.house.viewer("technician"), lot_id=lot, typed=typed)
    assert lab.found(lot).stock == 7_50
    with lab.database.writing() as db, pytest.raises(BadInput) as refused:
        materials.correct(db, by=lab.house.viewer("technician"), lot_id=lot, typed={"stock": "-1", "reason": ""})
    assert set(refused.value.fields) == {"stock", "reason"}


def test_what_is_left_of_a_material_is_watched_by_its_own_limit(lab: Store) -> None:
    material = lab.material(low="9.5")
    lot = lab.lot(material)

    def since() -> Any:
        with lab.database.reading() as db:
            return queries.material(db, material).low_since

    assert since() is None
    code = lab.pressed(lot)
    assert since() is not None
    lab.act(code, "take_back")
    assert since() is None
    lab.hold(lot)
    assert since() is not None, "what is held is not there to be used"
    lab.lot(material, "A 101")
    assert since() is None


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"kind": "wood"}, "kind"),
        ({"name": " "}, "name"),
        ({"material": "oak"}, "material"),
        ({"thickness": "0"}, "thickness"),
        ({"thickness": "four"}, "thickness"),
        ({"unit": "barrel"}, "unit"),
        ({"per_side": "0"}, "per_side"),
        ({"per_side": "1e9"}, "per_side"),
        ({"low": "-1"}, "low"),
        ({"width_mm": "5"}, "width_mm"),
    ],
)
def test_a_material_that_can_t_be_is_refused_at_its_field(lab: Store, typed: dict[str, str], field: str) -> None:
    with pytest.raises(BadInput) as refused:
        lab.material(**typed)
    assert list(refused.value.fields) == [field]


def test_a_lot_is_taken_down_once(lab: Store) -> None:
    lab.sheets("A-100")
    with pytest.raises(BadInput, match="is here already"):
        lab.sheets("a 100")
    with pytest.raises(BadInput) as refused:
        lab.sheets("--", stock="none", received_on="2999-01-01", expires_on="soon")
    assert set(refused.value.fields) == {"number", "stock", "received_on", "expires_on"}


def test_a_lot_is_found_by_the_beginning_of_its_number(lab: Store) -> None:
    lot, _ = lab.sheets("KX-4471/2"), lab.sheets("KY-1")
    with lab.database.reading() as db:
        assert [each.id for each in queries.lots_called(db, "kx 447")] == [lot]
        assert queries.lots_called(db, " - ") == []


def test_a_lot_of_many_pairs_is_told_a_page_at_a_time(lab: Store) -> None:
    lot = lab.sheets(stock="100")
    codes = [lab.pressed(lot, label=f"A {number}") for number in range(5)]
    told, before = [], None
    with lab.database.reading() as db:
        while True:
            uses, before = queries.uses_of_lot(db, lot, before=before, pairs=2)
            told.append(list(dict.fromkeys(use.code for use in uses)))
            if before is None:
                break
        assert queries.count_of_lot(db, lot) == (5, 10, 0)
    assert told == [codes[:2:-1], codes[2:0:-1], codes[:1]]


def test_one_lot_of_a_material_is_in_use_and_the_next_one_puts_it_away(lab: Store) -> None:
    first, second = lab.sheets(), lab.sheets("A 101")
    plaster = lab.lot(lab.material(**PLASTER), "P 1", "20000")
    assert [lab.use(each) for each in (first, plaster, first)] == ["", "", ""]
    assert lab.in_use() == ["A 100", "P 1"]
    assert lab.use(second) == "A 100"
    assert lab.in_use() == ["A 101", "P 1"]
    for _ in range(2):
        lab.put_away(plaster)
    assert lab.in_use() == ["A 101"]
    with lab.database.reading() as db:
        kinds = ("lot_in_use", "lot_put_away")
        written = db.exec(select(Entry).where(col(Entry.what).in_(kinds)).order_by(col(Entry.id))).all()
    assert [(each.what, each.subject_id) for each in written] == [
        ("lot_in_use", first),
        ("lot_in_use", plaster),
        ("lot_put_away", first),
        ("lot_in_use", second),
        ("lot_put_away", plaster),
    ], "what changed nothing wrote nothing"


def test_of_two_people_who_open_a_pack_each_at_once_one_is_the_second(lab: Store) -> None:
    lots = [lab.sheets(f"A {number}") for number in range(4)]
    with ThreadPoolExecutor(4) as hands:
        put_away = list(hands.map(lab.use, lots))
    (left,) = lab.in_use()
    assert sorted([*put_away, left]) == ["", "A 0", "A 1", "A 2", "A 3"], "each but the last was put away for one other"


@pytest.mark.parametrize("thing", ["is held", "has expired", "is used up"])
def test_what_nobody_can_begin_with_is_not_taken_into_use_and_not_noted_when_it_was(lab: Store, thing: str) -> None:
    today = clock.today(lab.house.zone)
    lot = lab.sheets(stock="1", expires_on=today.isoformat())
    lab.use(lot)
    assert lab.one_tap("press", {"L": SIDE, "R": SIDE}) == [("A 100", "LR", "")]
    spoil: dict[str, Callable[[], Any]] = {
        "is held": lambda: lab.hold(lot),
        "has expired": lambda: clock.set_shift(timedelta(days=1)),
        "is used up": lambda: lab.pressed(lot),
    }
    spoil[thing]()
    assert lab.one_tap("press", {"L": SIDE, "R": SIDE}) == [("A 100", "LR", thing)]
    lab.put_away(lot)
    with pytest.raises(Unready, match=f"Lot A 100 of PP 4 mm {thing}, so it can't be taken into use"):
        lab.use(lot)


def test_one_tap_notes_on_each_side_what_is_in_use_of_its_own_material(lab: Store) -> None:
    thick = lab.lot(lab.material(name="PP 5 mm", thickness="5"), "B 200")
    body = {"L": dict(SIDE), "R": SIDE | {"shell_thickness": 50}}
    lab.use(lab.sheets())
    assert lab.one_tap("press", body) == [("A 100", "L", "")]
    lab.use(thick)
    assert sorted(lab.one_tap("press", body)) == [("A 100", "L", ""), ("B 200", "R", "")]
    assert lab.one_tap("press", body, sides="R") == [("B 200", "R", "")]
    assert lab.one_tap("cover", body) == []


def test_of_two_that_could_be_meant_none_is_noted_by_itself(lab: Store) -> None:
    hard = PLASTER | {"name": "Hard plaster"}
    soft_lot, hard_lot = (lab.lot(lab.material(**each), each["name"], "20000") for each in (PLASTER, hard))
    for each in (soft_lot, hard_lot):
        lab.use(each)
    assert {why for _, _, why in lab.one_tap("pour", {"L": {}}, "L")} == {"is one of several that fit"}
    lab.hold(hard_lot)
    assert sorted(lab.one_tap("pour", {"L": {}}, "L")) == [("Hard plaster", "L", "is held"), ("Plaster", "L", "")]


def test_glue_goes_with_a_cover_alone(lab: Store) -> None:
    lab.use(lab.lot(lab.material(**GLUE), "G 1", "500"))
    assert lab.one_tap("cover", {"L": SIDE, "R": SIDE | {"cover": "none"}}) == [("G 1", "LR", "")]
    assert lab.one_tap("cover", {"L": {"shell": "polypropylene"}, "R": {"cover": "none"}}) == []


def test_a_pick_starts_from_the_lot_in_use_else_from_the_last_one_noted(lab: Store) -> None:
    first, second = lab.sheets(), lab.sheets("A 101")
    lab.pressed(first)

    def start() -> tuple[int | None, list[str]]:
        body, today = {"L": dict(SIDE), "R": dict(SIDE)}, clock.today(lab.house.zone)
        with lab.database.reading() as db:
            used = in_use(queries.in_use(db), "press", body, "LR", today)
            (offer,) = offers(queries.to_pick(db), used, "press", body, "LR", today)
        return offer.start, [each.number for each in offer.lots]

    assert start() == (first, ["A 100", "A 101"])
    lab.use(second)
    assert start() == (second, ["A 101", "A 100"])
    lab.hold(second)
    assert start() == (None, ["A 100"]), "what took its place, nobody has said"


def test_a_house_without_materials_has_none(house: House, database: Database) -> None:
    with database.reading() as db:
        assert queries.materials(db) == []
        assert queries.to_pick(db) == queries.in_use(db) == []


@pytest.fixture
def house(database: Database) -> House:
    return open_lab(database)
