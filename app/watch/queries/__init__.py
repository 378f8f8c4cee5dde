"""Which flags stand now, for whom, and what was already said to them. How facts are read is gather.py's business."""

from collections import Counter
from collections.abc import Collection, Iterator
from datetime import date, datetime
from typing import NamedTuple

from sqlalchemy import or_, select
from sqlmodel import Session, col

from app import clock
from app.bench.queries import pair_t
from app.journal.tables import Note
from app.people import queries as people
from app.people.rules import Role, Viewer
from app.people.tables import Staff
from app.watch.queries.gather import gather
from app.watch.queries.scope import Scope, Subject
from app.watch.rules.every import flags
from app.watch.rules.kinds import KINDS, Flag
from app.watch.rules.limits import LIMITS, Moment
from app.watch.tables import FlagNote

AFTER_THE_END = ("belongings_open", "recheck_overdue")
"""Kinds that an ended pair can have."""


class Said(NamedTuple):
    """What someone has said to a flag. `until` is the day it comes back; None when it was acknowledged."""

    since: datetime
    until: date | None
    words: str | None
    by: str
    at: datetime


class Raised(NamedTuple):
    """A flag that stands, whose it is, and the word that keeps it quiet, if one does."""

    flag: Flag
    subject: Subject
    said: Said | None


def moment(db: Session) -> Moment:
    """Now, with the lab's calendar and what the lab changed of the limits."""
    changed = {name: people.limit(db, name) for name in LIMITS}
    kept = {name: int(value) for name, value in changed.items() if value is not None}
    return Moment(clock.now(), people.work_calendar(db), kept)


def raised(
    db: Session,
    *,
    clinics: Collection[int] | None = None,
    pair_id: int | None = None,
    arrival_id: int | None = None,
    lot_id: int | None = None,
) -> list[Raised]:
    """Every flag of the lab, or of some clinics, one pair, arrival or lot: the most urgent kind first, then the oldest.

    Those that are kept quiet are among them, with the word that does it.
    """
    scope, at = Scope(clinics, pair_id, arrival_id, lot_id), moment(db)
    gathered = gather(db, scope, at)
    said = dict(_said(db, scope))
    found = []
    for flag in flags(gathered.facts, at):
        if flag.arrival is not None:
            subject, key = gathered.arrivals[flag.arrival], ("arrival", flag.arrival, flag.kind)
        elif flag.lot is not None:
            subject, key = gathered.lots[flag.lot], ("lot", flag.lot, flag.kind)
        else:
            subject = gathered.subjects[flag.pair]
            key = ("pair", subject.pair_id or 0, flag.kind)
        word = said.get(key)
        holds = word is not None and word.since == flag.since and (word.until is None or word.until > at.today)
        found.append(Raised(flag, subject, word if holds else None))
    return found


def of_pair(db: Session, pair_id: int, viewer: Viewer | None = None) -> list[Flag]:
    """One pair's flags that nobody has answered, for the strip on its page; with `viewer` those for that person."""
    return [
        each.flag
        for each in raised(db, pair_id=pair_id)
        if each.said is None and (viewer is None or concerns(viewer, each.flag.kind, each.subject.clinic_id))
    ]


def counts(db: Session, clinics: Collection[int] | None) -> dict[str, int]:
    """How many flags of each kind nobody has answered; `clinics` narrows to these, None is the whole lab."""
    number = Counter(each.flag.kind for each in raised(db, clinics=clinics) if each.said is None)
    return {kind: number[kind] for kind in KINDS if number[kind]}


def for_viewer(db: Session, viewer: Viewer) -> list[Raised]:
    """What this person should see: the own clinics', or the lab's, and of it the kinds that are for the own roles."""
    clinics = None if viewer.has(Role.TECHNICIAN, Role.MANAGER) else viewer.clinics
    return [each for each in raised(db, clinics=clinics) if concerns(viewer, each.flag.kind, each.subject.clinic_id)]


def concerns(viewer: Viewer, kind: str, clinic_id: int | None) -> bool:
    """Whether this kind of flag is for a person's roles at that clinic."""
    here = viewer if clinic_id is None else viewer.at(clinic_id)
    return here.has(*KINDS[kind].roles)


def _said(db: Session, scope: Scope) -> Iterator[tuple[tuple[str, int, str], Said]]:
    query = (
        select(
            *(col(column) for column in (FlagNote.pair_id, FlagNote.arrival_id, FlagNote.lot_id)),
            *(col(column) for column in (FlagNote.kind, FlagNote.since)),
            *(col(FlagNote.until), col(Note.words), col(Staff.name), col(FlagNote.at)),
        )
        .join(Note, col(Note.id) == col(FlagNote.note_id))
        .join(Staff, col(Staff.id) == col(FlagNote.staff_id))
        .join(pair_t, pair_t.c.id == col(FlagNote.pair_id), isouter=True)
    )
    if scope.pair_id is not None:
        query = query.where(col(FlagNote.pair_id) == scope.pair_id)
    elif scope.arrival_id is not None:
        query = query.where(col(FlagNote.arrival_id) == scope.arrival_id)
    elif scope.lot_id is not None:
        query = query.where(col(FlagNote.lot_id) == scope.lot_id)
    else:
        # Words to flags of pairs that have ended are many and say nothing any more.
        ended = col(FlagNote.kind).in_(AFTER_THE_END)
        query = query.where(or_(pair_t.c.stage.is_not(None), col(FlagNote.pair_id).is_(None), ended))
    for pair_id, arrival_id, lot_id, kind, *said in db.execute(query):
        about = {"pair": pair_id, "arrival": arrival_id, "lot": lot_id}
        (subject,) = ((name, key) for name, key in about.items() if key is not None)
        yield (*subject, kind), Said(*said)
