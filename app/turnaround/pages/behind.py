"""The pairs behind a bar or a point, as the page shows them."""

from typing import Any

from sqlmodel import Session

from app.bench.rules.acts import ENDS
from app.trade.worktime import words
from app.turnaround.queries.behind import behind
from app.turnaround.rules.asked import Asked
from app.turnaround.rules.times import is_bench

MOST = 200
"""Rows of a page."""


def values(db: Session, asked: Asked, typed: dict[str, str], errors: dict[str, str]) -> dict[str, Any]:
    """`errors` gets what can't be read of `typed`; nothing is listed then."""
    found = behind(db, asked, typed, errors, MOST)
    return {
        "title": found.title,
        "rows": [(row, words(row.minutes, found.day)) for row in found.rows],
        "count": found.pairs,
        "most": MOST,
        "which": "working time" if is_bench(asked.row) else "by the clock",
        "ends": ENDS,
    }
