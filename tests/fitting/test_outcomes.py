"""Pain and comfort before a pair is worn and at its reviews: side by side, what changed, and relief as it is said."""

import re
from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from app.errors import BadInput
from app.fitting.charts import scores_over_time
from app.fitting.rules.outcome import Told, change_words
from app.fitting.tables import FitCheck
from tests.bench.conftest import Lab
from tests.fitting.test_pages import filled
from tests.house import FITS

OnDay = Callable[[date], None]
Browser = Callable[[str], TestClient]
DISPENSED, DUE, LATER = date(2027, 3, 3), date(2027, 3, 17), date(2027, 3, 31)
BEFORE = {"pain": 7, "comfort": 3}


def ready(lab: Lab, on_day: OnDay) -> str:
    on_day(DISPENSED)
    code = lab.order()
    lab.walk(code, "dispense")
    return code


def dispense(lab: Lab, code: str, before: Any = None) -> None:
    lab.act(code, "dispense", by="clinician", facts=FITS["LR"] | ({"before": before} if before is not None else {}))


def table(page: str) -> list[list[str]]:
    """The rows of what was told, cell by cell, as they are read."""
    part = page[page.index("As the wearer tells it") :].partition("</table>")[0].replace("\u00a0", " ")
    cells = (re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.S) for row in part.split("<tr>")[2:])
    return [[" ".join(re.sub("<[^>]+>", "", cell).split()) for cell in row] for row in cells]


def test_before_and_every_review_stand_side_by_side_and_relief_is_never_mixed_with_the_change(
    browser: Browser, lab: Lab, on_day: OnDay
) -> None:
    code, clinician = ready(lab, on_day), browser("clinician")
    assert 'name="before.pain"' in clinician.get(f"/pair/{code}").text
    form = filled(**{"before.pain": "7", "before.comfort": "3"})
    assert clinician.post(f"/pair/{code}/acts", data=form).status_code == 303
    on_day(DUE)
    lab.act(code, "keep_wearing", by="clinician", facts={"review": {"pain": 4, "pain_relief": 50}})
    on_day(LATER)
    wanted = [
        ["Pain 0 to 10, 10 the worst", "7", "4", "3 less"],
        ["Comfort 0 to 10, 10 the best", "3", "not asked", "no review yet"],
        ["Pain relief per cent, as the wearer says it", "—", "50 %", "—"],
    ]
    clinician = browser("clinician")
    for page in (f"/pair/{code}", f"/pair/{code}/stance"):
        assert table(clinician.get(page).text) == wanted
    lab.act(code, "settle", by="clinician", facts={"review": {"pain": 2, "comfort": 8}})
    settled = clinician.get(f"/pair/{code}").text
    assert table(settled)[0] == ["Pain 0 to 10, 10 the worst", "7", "4", "2", "5 less"]
    assert table(settled)[1][-1] == "5 more"
    assert "As the wearer tells it" not in browser("technician").get(f"/pair/{code}").text
    drawn = clinician.get(f"/pair/{code}/stance").text
    assert "Pain, 0 to 10, 10 the worst, the oldest first: 7 before, then 4 review 1, then 2 review 2" in drawn
    assert "Comfort, 0 to 10, 10 the best, the oldest first: 3 before, then 8 review 2" in drawn


def test_where_nobody_asked_before_it_says_so_and_nothing_is_worked_out(
    browser: Browser, lab: Lab, on_day: OnDay
) -> None:
    code = ready(lab, on_day)
    dispense(lab, code)
    lab.act(code, "settle", by="clinician", facts={"review": {"pain": 2}})
    assert table(browser("clinician").get(f"/pair/{code}").text)[0][1:] == ["not asked", "2", "before not asked"]


@pytest.mark.parametrize(
    ("before", "fields"),
    [
        ({"pain": 11}, {"before.pain"}),
        ({"pain": "4.5", "comfort": "well"}, {"before.pain", "before.comfort"}),
        ({"pain_relief": 20}, {"before"}),
        (7, {"before"}),
        ([], {"before"}),
    ],
)
def test_a_score_that_can_t_be_is_named_at_its_field(lab: Lab, on_day: OnDay, before: Any, fields: set[str]) -> None:
    code = ready(lab, on_day)
    with pytest.raises(BadInput) as refusal:
        dispense(lab, code, before)
    assert set(refusal.value.fields) == fields


def test_before_is_before_the_pair_was_worn_for_the_first_time(browser: Browser, lab: Lab, on_day: OnDay) -> None:
    code = ready(lab, on_day)
    dispense(lab, code, {"pain": 9})
    lab.act(code, "take_back", by="clinician")
    dispense(lab, code, BEFORE)
    on_day(DUE)
    lab.act(code, "adjust", by="clinician", sides="L", facts={"where": "lab", "stages": ["cover"]})
    lab.walk(code, "dispense")
    assert 'name="before.pain"' not in browser("clinician").get(f"/pair/{code}").text
    with pytest.raises(BadInput, match="was worn already"):
        dispense(lab, code, BEFORE)
    dispense(lab, code)
    assert table(browser("clinician").get(f"/pair/{code}").text)[0][1] == "7", "what was taken back was never told"
    with lab.database.reading() as db:
        assert db.exec(select(FitCheck.pain).order_by(FitCheck.id)).all() == [9, 7, None]  # type: ignore[arg-type]


def test_the_change_is_from_before_to_the_latest_that_was_told() -> None:
    assert change_words([7, 4, None]) == "3 less"
    assert change_words([0, 10]) == "10 more"
    assert change_words([5, 9, 5]) == "as before"
    assert change_words([None, 4]) == "before not asked"


def test_a_score_is_drawn_on_the_whole_of_its_scale() -> None:
    told = [Told("Before", DISPENSED, 10, None), Told("Review 1", DUE, 5, 8), Told("Review 2", LATER, 0, None)]
    (pain,) = scores_over_time(told)
    # 10 at the top, 5 in the middle, 0 at the bottom of a drawing from 16 to 104; two weeks are half of four.
    assert pain.series[0].points == "12.0,16.0 160.0,60.0 308.0,104.0"
