"""The pairs behind a bar or a point."""

from collections.abc import Sequence
from typing import NamedTuple

from sqlalchemy import select
from sqlmodel import Session

from app.bench.queries import pair_t
from app.bench.queries.pairs import clinic_t
from app.turnaround.queries.stays import in_chunks


class Listed(NamedTuple):
    code: str
    label: str
    clinic: str
    stage: str | None
    end: str | None
    parked_on: str | None
    minutes: int
    """The time that it is listed for; the longer of two sides."""


_WITHOUT_MINUTES = (
    *(pair_t.c[name] for name in ("id", "code", "label")),
    clinic_t.c.name,
    *(pair_t.c[name] for name in ("stage", "end", "parked_on")),
)


def listed(db: Session, pairs: Sequence[int], minutes: Sequence[int], most: int | None) -> tuple[list[Listed], int]:
    """The pairs that took longest, at most so many, and how many there are in all. A pair may stand in two entries."""
    longest: dict[int, int] = {}
    for pair, length in zip(pairs, minutes, strict=True):
        longest[pair] = max(length, longest.get(pair, 0))
    first = sorted(longest, key=lambda pair: (-longest[pair], pair))[:most]
    query = select(*_WITHOUT_MINUTES).join(clinic_t, clinic_t.c.id == pair_t.c.clinic_id)
    rows = {
        row[0]: Listed._make([*row[1:], longest[row[0]]])
        for some in in_chunks(first)
        for row in db.execute(query.where(pair_t.c.id.in_(some)))
    }
    return [rows[pair] for pair in first], len(longest)
