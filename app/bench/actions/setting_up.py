"""Setting the bench: plaster, margins, oven table; and keeping what a sheet was printed from."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, fields
from typing import Any

from sqlmodel import Session

from app import clock
from app.bench import queries
from app.bench.rules.cutting import StockSheet
from app.bench.rules.settings import BenchSettings, as_plain, oven_words
from app.bench.rules.sheets import Given, kept
from app.bench.tables import BenchSetup, PrintedSheet
from app.journal import actions as journal
from app.people.rules import Viewer
from app.trade.heat import Setting


def set_up_bench(db: Session, *, by: Viewer, settings: BenchSettings) -> None:
    """Settings that differ are written and journalled with old and new; nothing where nothing differs.

    The sources of the oven's rows were typed by a person, so those stand in the entry's note.
    """
    row = db.get(BenchSetup, 1, with_for_update=True)
    now = queries.bench_settings(db)
    if settings == now:
        return
    plain = [field.name for field in fields(BenchSettings) if field.name != "oven"]
    changed = {name: [_written(getattr(each, name)) for each in (now, settings)] for name in plain}
    changed |= _rows_changed(_oven_by_name(now.oven), _oven_by_name(settings.oven))
    sources = [f"{_oven_name(each)}: {each.source}" for each in settings.oven if each not in now.oven]
    note = journal.keep_words(db, "\n".join(sources), None) if sources else None
    if row is None:
        db.add(BenchSetup(settings=as_plain(settings)))
    else:
        row.settings = as_plain(settings)
    facts = {name: pair for name, pair in changed.items() if pair[0] != pair[1]}
    journal.write(db, "bench_set_up", by=by.staff_id, subject="lab", subject_id=1, facts=facts, note=note)


def keep_sheet(
    db: Session, *, by: Viewer, kind: str, rows: Sequence[Given], settings: BenchSettings, stock: Sequence[StockSheet]
) -> int:
    """Keeps what a sheet is printed from, so that it stays as it was; returns the number that it is found by."""
    sheet = PrintedSheet(
        kind=kind,
        codes=list(dict.fromkeys(row.code for row in rows)),
        settings=as_plain(settings),
        given=kept(rows),
        stock=[asdict(each) for each in stock],
        printed_at=clock.now(),
        printed_by=by.staff_id,
    )
    db.add(sheet)
    db.flush()
    facts = {"kind_of_sheet": kind, "codes": sheet.codes}
    journal.write(db, "sheet_printed", by=by.staff_id, subject="sheet", subject_id=sheet.id, facts=facts)
    return sheet.id


def _written(value: Any) -> Any:
    """70.0 is written down as 70."""
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _rows_changed(now: Mapping[str, str], then: Mapping[str, str]) -> dict[str, list[Any]]:
    return {name: [now.get(name), then.get(name)] for name in {**now, **then}}


def _oven_name(row: Setting) -> str:
    return f"{row.material} {row.from_mm:g}–{row.to_mm:g} mm"


def _oven_by_name(rows: Iterable[Setting]) -> dict[str, str]:
    return {
        _oven_name(row): f"{oven_words(row)}, {row.minutes_low}–{row.minutes_high} min, {row.vacuum_inhg} inHg, "
        f"{row.shrinkage_percent:g} %, {row.trust}"
        for row in rows
    }
