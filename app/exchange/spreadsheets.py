"""Tables of figures as a workbook: what is shown as a time or a share is a number here, its unit stands in the head.

A sheet for each table, its first row the heads, so that it can be sorted, filtered and read by other programs as it
is; what is counted, how many there are and where it comes from stand together on the first sheet.
"""

from collections.abc import Sequence
from datetime import date
from io import BytesIO
from typing import Any

from xlsxwriter import Workbook
from xlsxwriter.worksheet import Worksheet

from app.turnaround.rules.tabled import Cell, Column, Table

SHEET = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
_PLAIN = {
    # Nothing that somebody typed, a clinic's name say, becomes a formula or a link of the reader's own program.
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
    "in_memory": True,
}
_FORMATS: dict[str, dict[str, Any]] = {
    "head": {"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"},
    "title": {"bold": True, "font_size": 14},
    "words": {"text_wrap": True, "valign": "top"},
    "count": {"num_format": "#,##0"},
    "share": {"num_format": "0.0%"},
    "number": {"num_format": "#,##0.##"},
    "day": {"num_format": "yyyy-mm-dd", "align": "left"},
    "month": {"num_format": "mmm yyyy", "align": "left"},
    "hours": {"num_format": "#,##0.00"},
}
_UNITS = {"working": "working hours", "clock": "hours by the clock"}
_LONGEST_NAME = 31
"""Of a sheet, and what its name can't hold (Microsoft's rules for workbooks)."""
_NOT_IN_NAMES = str.maketrans(dict.fromkeys("[]:*?/\\'", " "))


def workbook(tables: Sequence[Table], *, title: str, words: str) -> bytes:
    """`title` and `words` (which time, of which pairs, made when) head the first sheet."""
    file = BytesIO()
    with Workbook(file, _PLAIN) as book:
        formats = {name: book.add_format(how) for name, how in _FORMATS.items()}
        about = book.add_worksheet("About")
        names = _names(tables)
        for name, table in zip(names, tables, strict=True):
            _write(book.add_worksheet(name), table, formats)
        _about(about, title, words, list(zip(names, tables, strict=True)), formats)
    return file.getvalue()


def _names(tables: Sequence[Table]) -> list[str]:
    """Each table's title as far as it fits, numbered where two would be the same."""
    names: list[str] = []
    for table in tables:
        plain = " ".join(table.title.translate(_NOT_IN_NAMES).split())
        name, number = plain[:_LONGEST_NAME].strip(), 2
        while name.lower() in {*map(str.lower, names), "about", "history"}:
            end = f" {number}"
            name, number = plain[: _LONGEST_NAME - len(end)].strip() + end, number + 1
        names.append(name)
    return names


def _about(
    sheet: Worksheet, title: str, words: str, tables: Sequence[tuple[str, Table]], formats: dict[str, Any]
) -> None:
    sheet.write_string(0, 0, title, formats["title"])
    sheet.write_string(1, 0, words)
    for place, head in enumerate(("Sheet", "Table", "Counted", "What it says", "Where it comes from")):
        sheet.write_string(3, place, head, formats["head"])
    for line, (name, table) in enumerate(tables, 4):
        for place, text in enumerate((name, table.title, table.count, table.definition, table.source)):
            sheet.write_string(line, place, text, formats["words"])
    for place, width in enumerate((32, 38, 30, 70, 50)):
        sheet.set_column(place, place, width)


def _write(sheet: Worksheet, table: Table, formats: dict[str, Any]) -> None:
    for place, column in enumerate(table.columns):
        sheet.write_string(0, place, head(column), formats["head"])
        texts = [cell for row in table.rows if isinstance(cell := row.cells[place], str)]
        sheet.set_column(place, place, min(max(map(len, [*texts, head(column)[:24]]), default=8) + 3, 60))
        for line, row in enumerate(table.rows, 1):
            _cell(sheet, line, place, row.cells[place], column, formats)
    sheet.freeze_panes(1, 0)
    if table.rows and table.columns:
        sheet.autofilter(0, 0, len(table.rows), len(table.columns) - 1)


def head(column: Column) -> str:
    unit = column.unit or _UNITS.get(column.kind, "")
    return f"{column.head} ({unit})" if unit else column.head


def _cell(sheet: Worksheet, line: int, place: int, cell: Cell, column: Column, formats: dict[str, Any]) -> None:
    """What is not known stays empty."""
    if cell is None:
        return
    if isinstance(cell, str):
        sheet.write_string(line, place, cell)
    elif isinstance(cell, date):
        sheet.write_datetime(line, place, cell, formats[column.kind])
    elif column.kind in ("working", "clock"):
        sheet.write_number(line, place, cell / 60, formats["hours"])
    else:
        sheet.write_number(line, place, cell, formats[column.kind])
