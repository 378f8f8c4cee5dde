"""Reading the journal, newest first, a page at a time."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, and_, false, or_, select
from sqlmodel import Session, col

from app.journal.tables import Entry

APART = timedelta(minutes=1)
"""Entries are numbered when written and seen when kept: between two that overlap no more than this lies."""


class EntryRow(NamedTuple):
    id: int
    at: datetime
    staff_id: int | None
    what: str
    subject: str | None
    subject_id: int | None
    facts: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which entries: of one person, of one kind, from an instant until before another, about some subjects."""

    staff_id: int | None = None
    what: str | None = None
    since: datetime | None = None
    until: datetime | None = None
    about: Mapping[str, Collection[int]] | None = None
    """Ids by subject; None is everything."""


class Page(NamedTuple):
    rows: list[EntryRow]
    newer: bool
    """Whether newer entries follow, and older ones."""
    older: bool


_COLUMNS = tuple(col(getattr(Entry, name)) for name in EntryRow._fields)


def page(db: Session, wanted: Wanted, *, before: int | None = None, after: int | None = None, most: int = 50) -> Page:
    """Entries newest first: the newest, or those next to an entry's number on either side of it."""
    query = select(*_COLUMNS).where(*_conditions(db, wanted)).limit(most + 1)
    if after is not None:
        rows = [EntryRow(*row) for row in db.execute(query.where(col(Entry.id) > after).order_by(col(Entry.id)))]
        if rows:
            return Page(rows[:most][::-1], len(rows) > most, True)
    if before is not None:
        query = query.where(col(Entry.id) < before)
    rows = [EntryRow(*row) for row in db.execute(query.order_by(col(Entry.id).desc()))]
    return Page(rows[:most], before is not None, len(rows) > most)


def _conditions(db: Session, wanted: Wanted) -> list[ColumnElement[bool]]:
    found: list[ColumnElement[bool]] = []
    if wanted.staff_id is not None:
        found.append(col(Entry.staff_id) == wanted.staff_id)
    if wanted.what is not None:
        found.append(col(Entry.what) == wanted.what)
    if wanted.since is not None:
        found += [col(Entry.at) >= wanted.since, _numbered_from(db, wanted.since - APART)]
    if wanted.until is not None:
        found += [col(Entry.at) < wanted.until, _numbered_to(db, wanted.until + APART)]
    if wanted.about is not None:
        of = [
            and_(col(Entry.subject) == subject, col(Entry.subject_id).in_(list(ids)))
            for subject, ids in wanted.about.items()
            if ids
        ]
        found.append(or_(*of) if of else false())
    return found


# The list goes by number; what a day holds is found by its first and last number, not by looking through all others.
def _numbered_from(db: Session, at: datetime) -> ColumnElement[bool]:
    first = db.execute(select(col(Entry.id)).where(col(Entry.at) >= at).order_by(col(Entry.at)).limit(1)).scalar()
    return false() if first is None else col(Entry.id) >= first


def _numbered_to(db: Session, at: datetime) -> ColumnElement[bool]:
    last = db.execute(select(col(Entry.id)).where(col(Entry.at) <= at).order_by(col(Entry.at).desc()).limit(1)).scalar()
    return false() if last is None else col(Entry.id) <= last
