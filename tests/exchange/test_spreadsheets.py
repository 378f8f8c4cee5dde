"""Tables as workbooks, read back by another library than the one that wrote them."""

from collections.abc import Callable
from datetime import date, timedelta
from io import BytesIO
from typing import Any

import pytest
from fastapi.testclient import TestClient
from python_calamine import CalamineWorkbook

from app import clock
from app.exchange.spreadsheets import SHEET, workbook
from app.turnaround.rules.tabled import FEW, Column, Row, Table
from tests.bench.conftest import Lab

Browser = Callable[[str], TestClient]
Sheets = dict[str, list[list[Any]]]


def read(content: bytes) -> Sheets:
    book = CalamineWorkbook.from_filelike(BytesIO(content))
    return {name: book.get_sheet_by_name(name).to_python() for name in book.sheet_names}


def download(who: TestClient, address: str) -> Sheets:
    answer = who.get(address)
    assert answer.status_code == 200, answer.text[:300]
    assert answer.headers["content-type"] == SHEET
    assert answer.headers["content-disposition"].endswith('.xlsx"')
    return read(answer.content)


def table(title: str, *rows: tuple[Any, ...]) -> Table:
    kinds = (Column("Clinic", "text"), Column("Pairs"), Column("Share", "share"), Column("Took", "working"))
    columns = (*kinds, Column("Relief", "number", "%"), Column("Day", "day"), Column("Month", "month"))
    return Table(
        title=title, columns=columns, rows=tuple(map(Row, rows)), definition="What.", count="2", source="Here."
    )


def test_figures_are_numbers_with_their_unit_in_the_head_and_what_is_typed_stays_text() -> None:
    day, month = date(2027, 1, 12), date(2027, 1, 1)
    rows = (
        ('=HYPERLINK("http://x.invalid")', 1200, 0.125, 90, 70.5, day, month),
        ("https://x.invalid", 0, None, 600, FEW, day, month),
    )
    sheets = read(workbook([table("By clinic", *rows)], title="Figures", words="Of January."))
    assert sheets["By clinic"] == [
        ["Clinic", "Pairs", "Share", "Took (working hours)", "Relief (%)", "Day", "Month"],
        ['=HYPERLINK("http://x.invalid")', 1200, 0.125, 1.5, 70.5, day, month],
        ["https://x.invalid", 0, "", 10, FEW, day, month],
    ]
    about = sheets["About"]
    assert (about[0][0], about[1][0]) == ("Figures", "Of January.")
    assert about[4] == ["By clinic", "By clinic", "2", "What.", "Here."]


def test_sheets_of_the_same_or_an_impossible_name_are_all_there() -> None:
    titles = ["About", "History", "What stood where, week by week: all", "what stood where, week by week; most", "a/b?"]
    sheets = read(workbook([table(title) for title in titles], title="T", words=""))
    assert [row[1] for row in sheets["About"][4:]] == titles
    assert [row[0] for row in sheets["About"][4:]] == [name for name in sheets if name != "About"]
    assert all(len(name) <= 31 for name in sheets)


@pytest.fixture
def worn(lab: Lab) -> str:
    """One pair that was sent back and is settled, one that is on its way."""
    code = lab.order(label="SB 1")
    lab.order(label="OW 1")
    lab.walk(code, "trim")
    lab.act(code, "send_back", sides="LR", to_stage="cover", reason="too_short")
    lab.walk(code, "wear_in")
    clock.set_shift(timedelta(days=20))
    lab.act(code, "settle", by="clinician")
    return code


def test_what_the_pages_show_stands_in_their_workbooks(worn: str, browser: Browser) -> None:
    manager = browser("manager")
    back = download(manager, "/turnaround/returns.xlsx?months=3")
    assert back["Sent back, by reason"][1] == ["cover too short", 1, 1, 1]
    assert back["Sent back, by shell material"][1] == ["polypropylene", 1, 1, 1, 1, 100]
    assert back["Follow-up, by clinic"][1][:4] == ["Harbour Steps", 1, 1, 1]
    times = download(manager, "/turnaround.xlsx?months=3")
    whole = times["The whole way and beside the be"]
    assert whole[1][0] == "The whole way"
    assert whole[1][7:9] == [1, 1], "one is over, one is not"
    ages = times["Open pairs by age The whole way"]
    assert [row[2] for row in ages[1:]] == [0, 0, 0, 1, 0, 0, 0], "it is there for twenty days"
    (entry,) = download(manager, "/turnaround/returns/pairs.xlsx?months=3&what=send_back")["Sent back"][1:]
    assert entry[:3] == [worn, "SB 1", "Harbour Steps"]
    behind = download(manager, "/turnaround/pairs.xlsx?months=3&age=14-28")["On their way, for 14 to 28 days"]
    assert behind[0][3:] == ["Time (hours by the clock)", "Where it is now", "Waits on"]
    assert [row[3] // 24 for row in behind[1:]] == [20]


def test_a_workbook_of_what_can_t_be_is_refused_and_clinicians_get_none(browser: Browser) -> None:
    manager = browser("manager")
    assert manager.get("/turnaround.xlsx?way=baked").status_code == 422
    assert manager.get("/turnaround/returns.xlsx?from=2027-13").status_code == 422
    assert manager.get("/turnaround/returns/pairs.xlsx?what=eaten").status_code == 422
    assert manager.get("/turnaround/pairs.xlsx?age=young").status_code == 422
    assert manager.get("/turnaround/late.xlsx").status_code == 404, "nothing has been foretold yet"
    assert browser("clinician").get("/turnaround.xlsx").status_code == 403
