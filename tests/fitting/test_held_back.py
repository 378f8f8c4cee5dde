"""A fit check that fails: it is kept with the act that it ended in, and what a release had changed comes back."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import col, select

from app.errors import BadInput, NotAllowed
from app.fitting.tables import FitCheck
from app.journal.tables import Entry
from app.orders.tables import Order
from tests.bench.conftest import Lab
from tests.fitting.test_pages import TICKS, post
from tests.house import FITS

OnDay = Callable[[date], None]
Browser = Callable[[str], TestClient]
WEDNESDAY = date(2027, 3, 3)
SHORT = {"fit": {"R": {"cover": "short", "heel_down": False}}}


@pytest.fixture
def ready(lab: Lab, on_day: OnDay) -> str:
    on_day(WEDNESDAY)
    code = lab.order(shoe={"kind": "dress", "size": 42.0, "system": "eu"})
    lab.walk(code, "dispense")
    return code


def checks(lab: Lab) -> list[FitCheck]:
    with lab.database.reading() as db:
        return list(db.exec(select(FitCheck).order_by(col(FitCheck.id))))


def test_a_side_sent_back_after_its_fit_check_keeps_what_was_found(browser: Browser, lab: Lab, ready: str) -> None:
    moved = lab.act(ready, "send_back", by="clinician", to_stage="cover", sides="R", reason="too_short", facts=SHORT)
    assert dict(moved.state.sides) == {"L": "dispense", "R": "cover"}
    (check,) = checks(lab)
    assert (check.result, check.move_id) == ("sent_back", moved.move_id)
    assert check.answers == {"read_back": False, "R": {"cover": "short", "heel_down": False}}
    page = browser("technician").get(f"/pair/{ready}").text
    assert "Fit check: not released, sent back. right: the heel is not down in the shoe, the cover is short" in page


def test_a_pair_parked_after_its_fit_check_keeps_it_too(lab: Lab, ready: str) -> None:
    lab.act(ready, "park", by="clinician", reason="shoe", waiting_on="wearer", facts={"fit": {}})
    assert [(check.result, check.answers) for check in checks(lab)] == [("parked", {"read_back": False})]
    assert lab.at(ready).holds


def test_without_a_fit_check_nothing_is_kept_and_elsewhere_it_is_refused(lab: Lab, ready: str) -> None:
    lab.act(ready, "send_back", by="clinician", to_stage="trim", sides="L", reason="edges")
    assert checks(lab) == []
    with pytest.raises(BadInput, match="belongs to the day of dispensing"):
        lab.act(ready, "send_back", to_stage="cover", sides="L", reason="edges", facts=SHORT)
    with pytest.raises(BadInput, match="one of full, partial, none"):
        lab.act(
            lab_ready(lab),
            "park",
            by="clinician",
            reason="shoe",
            waiting_on="lab",
            facts={"fit": {"L": {"arch": "flat"}}},
        )


def lab_ready(lab: Lab) -> str:
    code = lab.order(label="B 2")
    lab.walk(code, "dispense")
    return code


def test_who_may_not_send_back_is_told_before_the_check_is_looked_at(lab: Lab, ready: str) -> None:
    with pytest.raises(NotAllowed):
        lab.act(ready, "send_back", to_stage="cover", sides="R", reason="fit", facts={"fit": {"L": "?"}})


def test_the_form_of_the_fit_check_sends_back_and_parks(browser: Browser, lab: Lab, ready: str) -> None:
    clinician = browser("clinician")
    form: dict[str, Any] = {
        "act": ["dispense", "send_back"],
        "from_stage": "dispense",
        "fit_check": "yes",
        "sides_made": ["L", "R"],
        "fit.R.cover": "short",
        "fit.R.ticks": TICKS[:-1],
        "send_back.reason": "too_short",
        "reason": "typed for a release",
        "held_back.words": "Short by a finger.",
    }
    refused = post(clinician, ready, form)
    assert refused.status_code == 422
    assert 'href="#f-to_stage"' in refused.text
    assert "Short by a finger." in refused.text
    answer = post(clinician, ready, form | {"send_back.to_stage": "cover", "send_back.sides": "R"})
    assert answer.status_code == 303, answer.text
    (check,) = checks(lab)
    assert "L" not in check.answers, "nothing was said of the left"
    assert check.answers["R"]["liner_out"] is False
    assert check.answers["R"]["heel_down"] is True
    assert "Short by a finger. Fit check: not released" in clinician.get(f"/pair/{ready}").text
    other = lab_ready(lab)
    park = {"act": ["dispense", "park"], "from_stage": "dispense", "fit_check": "yes", "sides_made": ["L", "R"]}
    said = {"park.reason": "shoe", "park.waiting_on": "wearer"}
    assert post(clinician, other, park).status_code == 422
    assert post(clinician, other, park | said).status_code == 303
    assert lab.at(other).waiting_on == {"wearer"}


def test_a_dispensing_taken_back_gives_the_order_its_shoe_again(lab: Lab, ready: str) -> None:
    shoe = {"kind": "walking", "size": "43", "system": "eu"}
    lab.act(ready, "dispense", by="clinician", facts=FITS["LR"] | {"shoe": shoe})
    lab.act(ready, "take_back", by="clinician")
    with lab.database.reading() as db:
        assert db.exec(select(Order.shoe)).one() == {"kind": "dress", "size": 42.0, "system": "eu"}
        assert len(db.exec(select(Entry).where(Entry.what == "shoe_changed")).all()) == 2
    lab.act(ready, "dispense", by="clinician")
    lab.act(ready, "take_back", by="clinician")
    with lab.database.reading() as db:
        assert db.exec(select(Order.shoe)).one()["kind"] == "dress", "nothing was changed, nothing comes back"


def test_zones_are_added_one_by_one_without_losing_what_was_chosen(browser: Browser, lab: Lab, ready: str) -> None:
    lab.act(ready, "dispense", by="clinician")
    clinician = browser("clinician")
    page = clinician.get(f"/pair/{ready}").text
    assert page.count('name="zone.R"') == 2
    zones = ["heel_cup", "medial_arch"]
    form: dict[str, Any] = {"from_stage": "wear_in", "zone.R": zones, "what.R": ["lowered", "raised"], "more": "zones"}
    more = post(clinician, ready, form)
    assert more.status_code == 200
    assert more.text.count('name="zone.R"') == 3
    assert "needs another look" not in more.text
    zones += ["cover", "pad", "lateral_arch"]
    done: dict[str, Any] = {"act": "adjust", "sides": "R", "where": "here", "reason": "Can't wait.", "more": ""}
    done |= {"zone.R": zones, "what.R": ["lowered"] * 5}
    refused = post(clinician, ready, form | done | {"review.pain": "eleven"})
    assert refused.text.count('name="zone.R"') == 5
    assert post(clinician, ready, form | done).status_code == 303
    page = clinician.get(f"/pair/{ready}").text
    assert all(f"right {words}: lowered" in page for words in ("heel cup", "cover", "lateral arch"))
