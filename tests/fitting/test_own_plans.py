"""Wearing-in plans of a clinic's own: kept by its clinicians and managers, offered at dispensing, never rewritten."""

from collections.abc import Callable
from datetime import date
from typing import Any

from fastapi.testclient import TestClient
from sqlmodel import col, select

from app.fitting.tables import ClinicPlan, WearingPlan
from app.journal.tables import Entry
from tests.bench.conftest import Lab
from tests.fitting.test_pages import filled, post

OnDay = Callable[[date], None]
Browser = Callable[[str], TestClient]
GENTLE = {"name": "Gentle", "start_minutes": "20", "step_minutes": "20", "target_minutes": "240"}


def kept(who: TestClient, lab: Lab, clinic: str = "house", **more: str) -> Any:
    return who.post("/plans", data=GENTLE | {"clinic_id": str(lab.house.clinics[clinic])} | more)


def test_a_plan_of_the_clinic_is_offered_and_a_pair_keeps_the_numbers_it_began_with(
    browser: Browser, lab: Lab, on_day: OnDay
) -> None:
    on_day(date(2027, 3, 3))
    clinician = browser("clinician")
    assert kept(clinician, lab).status_code == 303
    code = lab.order()
    lab.walk(code, "dispense")
    assert "Gentle: 20\u00a0min, then 20\u00a0min more each day, up to 4\u00a0h" in clinician.get(f"/pair/{code}").text
    elsewhere = lab.order(by="quay clinician", clinic="quay")
    lab.walk(elsewhere, "dispense", "quay clinician")
    assert "Gentle" not in browser("quay clinician").get(f"/pair/{elsewhere}").text
    refused = post(browser("quay clinician"), elsewhere, filled(**{"plan.key": "own-1", "plan.target_minutes": ""}))
    assert refused.status_code == 422
    assert "&#39;own-1&#39; is none of them" in refused.text
    answer = post(clinician, code, filled(**{"plan.key": "own-1", "plan.target_minutes": ""}))
    assert answer.status_code == 303, answer.text
    assert kept(clinician, lab, plan_id="1", step_minutes="45", name="Brisk").status_code == 303
    with lab.database.reading() as db:
        worn = db.exec(select(WearingPlan)).one()
        assert (worn.plan, worn.start_minutes, worn.step_minutes, worn.target_minutes) == ("own-1", 20, 20, 240)
        steps = db.exec(select(ClinicPlan.name, ClinicPlan.step_minutes).order_by(col(ClinicPlan.id))).all()
        assert steps == [("Gentle", 20), ("Brisk", 45)], "the one in use stays as it was"
    page = clinician.get(f"/pair/{code}").text
    assert "Gentle, a plan of the clinic&#39;s own" in page
    plans = clinician.get("/plans").text
    assert "Brisk: 20\u00a0min, then 45\u00a0min more each day" in plans
    assert "Gentle" not in plans
    ended = {"clinic_id": str(lab.house.clinics["house"]), "plan_id": "2"}
    assert "Brisk is not offered any more" in clinician.post("/plans/end", data=ended, follow_redirects=True).text
    assert "Brisk" not in clinician.get("/plans").text


def test_a_plan_with_a_fault_comes_back_as_it_was_typed(browser: Browser, lab: Lab) -> None:
    manager = browser("manager")
    assert kept(manager, lab).status_code == 303
    faults = {
        "name": ({"name": ""}, {"name": " gentle "}, {"name": "x" * 61}),
        "start_minutes": ({"name": "B", "start_minutes": "0"}, {"name": "B", "start_minutes": "300"}),
        "step_minutes": ({"name": "B", "step_minutes": "-5"}, {"name": "B", "step_minutes": "0"}),
        "target_minutes": ({"name": "B", "target_minutes": "1441"}, {"name": "B", "target_minutes": "eight"}),
    }
    for field, wrong in faults.items():
        for typed in wrong:
            answer = kept(manager, lab, **typed)
            assert answer.status_code == 422, typed
            assert f'href="#f-{field}"' in answer.text, typed
            assert 'value="240"' in answer.text or "target_minutes" in typed
    with lab.database.reading() as db:
        assert len(db.exec(select(ClinicPlan)).all()) == 1


def test_what_was_changed_is_journalled_with_old_and_new_and_saving_the_same_writes_nothing(
    browser: Browser, lab: Lab
) -> None:
    clinician = browser("clinician")
    kept(clinician, lab)
    kept(clinician, lab, plan_id="1")
    kept(clinician, lab, plan_id="1", target_minutes="300")
    assert kept(clinician, lab, plan_id="1").status_code == 404, "somebody has changed it meanwhile"
    assert kept(clinician, lab, clinic="quay").status_code == 404
    with lab.database.reading() as db:
        entries = db.exec(select(Entry).where(col(Entry.what).like("plan_%")).order_by(col(Entry.id))).all()
    assert [each.what for each in entries] == ["plan_added", "plan_changed"]
    assert entries[1].facts["target_minutes"] == [240, 300]
    assert "Gentle" not in str([each.facts for each in entries]), "the log holds no words"
    assert "target minutes: 240 → 300" in browser("manager").get("/journal").text
