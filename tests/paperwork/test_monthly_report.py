"""A month's figures on paper: the same charts as on the pages, each with its table, and nobody's name."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
from fastapi.testclient import TestClient

from app import clock
from app.paperwork import sheets
from tests.bench.conftest import Lab
from tests.paperwork.conftest import A4, print_sheet

Browser = Callable[[str], TestClient]


def turn(day: datetime) -> None:
    clock.set_shift(clock.shift() + (day - clock.now()))


@pytest.fixture
def january(lab: Lab) -> list[str]:
    """Six weeks up to the first of February 2027, some pairs a week; two go back, one is adjusted."""
    codes = []
    for week in range(7):
        monday = datetime(2026, 12, 14, 9, tzinfo=UTC) + timedelta(weeks=week)
        turn(monday)
        codes += [lab.order(label=f"QX 77{week}{number}", wearer={"name": "Elestren Polmear"}) for number in (1, 2)]
        turn(monday + timedelta(days=3))
        for code in codes[-2:]:
            lab.walk(code, "trim")
            if week > 4:
                lab.act(code, "send_back", sides="L", to_stage="cover", reason="too_short")
            lab.walk(code, "wear_in")
    turn(datetime(2027, 1, 28, 9, tzinfo=UTC))
    zones = [{"side": "L", "zone": "medial_arch", "what": "lowered"}]
    lab.act(codes[6], "adjust", by="clinician", sides="L", facts={"where": "here", "zones": zones})
    lab.order(label="QX 7799", wearer={"name": "Elestren Polmear"})
    turn(datetime(2027, 2, 1, 8, tzinfo=UTC))
    return codes


def test_a_month_s_report_has_its_charts_tables_and_sources_and_no_wearer(
    lab: Lab, january: list[str], browser: Browser
) -> None:
    manager = browser("manager")
    sheet = print_sheet(manager, "/paper/report/2027-01.pdf")
    assert sheet.size_mm == A4
    for words in (
        "January 2027 Saltmarsh Bay Lab. As known on 1 February 2027",
        "Pairs dispensed 8 in this month",
        "Sent back 4 50 a hundred dispensed",
        "Adjusted 1 12.5 a hundred dispensed",
        "The whole way",
        "Pairs that came to To dispense, by week",
        "Promised days kept, by week",
        "What stood where, week by week",
        "cover too short 4 100 % 100 %",
        "medial arch: lowered or ground back 1 100 % 100 %",
        "Remade: none in this month.",
        "Kaplan and Meier",
        "Moves of the pairs, which are never edited or deleted",
    ):
        assert words in sheet.words, words
    for secret in ("Elestren", "Polmear", "QX", *january):
        assert secret not in sheet.words
    drawn = {colour: count for count, colour in sheet.picture.convert("RGB").getcolors(1 << 24) or ()}
    assert drawn[18, 89, 74] > 1000, "the curve, in the colour of its look"
    with_charts = manager.get("/paper/report/2027-01").text
    assert with_charts.count("<svg") == 6, "the way, two of weeks, what stood where, and two sets of reasons"
    assert "/turnaround" not in with_charts.partition("<main>")[2], "nothing on paper leads anywhere"


def test_a_month_that_has_not_begun_or_of_which_nothing_is_known_has_no_report(lab: Lab, browser: Browser) -> None:
    manager = browser("manager")
    for month, status in (("2099-01", 404), ("2001-05", 404), ("2027-13", 422), ("soon", 422)):
        assert manager.get(f"/paper/report/{month}.pdf").status_code == status, month
    this = f"{clock.today(lab.house.zone):%Y-%m}"
    lab.order()
    assert "the month is not over" in print_sheet(manager, f"/paper/report/{this}.pdf").words


def test_where_no_pdf_can_be_made_the_report_is_a_page_to_print(
    lab: Lab, browser: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_words: object, **_values: object) -> bytes:
        raise sheets.NoPdf("no pango here")

    monkeypatch.setattr(sheets, "pdf", fails)
    this = f"{clock.today(lab.house.zone):%Y-%m}"
    lab.order()
    answer = browser("manager").get(f"/paper/report/{this}.pdf")
    assert answer.status_code == 503
    assert f"/paper/report/{this}" in answer.text
