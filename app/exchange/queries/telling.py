"""What there is to be told of: whether it still holds, what the flags say, and what a morning's digest counts."""

from collections.abc import Collection, Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any, NamedTuple

from sqlalchemy import func, select
from sqlmodel import Session, col

from app import clock
from app.bench import queries as bench
from app.bench.queries import clinic_t, hold_t, pair_t
from app.exchange.rules import FLAGS
from app.exchange.tables import Letter
from app.fitting.queries import review_t
from app.people import queries as people
from app.people.queries.told import Told
from app.people.rules import Role
from app.watch import queries as watch

SOON = timedelta(days=7)


class PairRow(NamedTuple):
    id: int
    code: str
    clinic_id: int
    clinic: str
    stage: str | None
    parked_on: str | None
    since: datetime
    promised_on: date | None


_PAIRS = select(*(clinic_t.c.name if name == "clinic" else pair_t.c[name] for name in PairRow._fields)).join(
    clinic_t, clinic_t.c.id == pair_t.c.clinic_id
)


def pair(db: Session, pair_id: int) -> PairRow:
    return PairRow(*db.execute(_PAIRS.where(pair_t.c.id == pair_id)).one())


class News(NamedTuple):
    """Something about a pair that people may want to be told of; `occasion` is another when it happens anew."""

    subject: str
    pair_id: int
    clinic_id: int
    occasion: str

    @property
    def about(self) -> str:
        return f"{self.pair_id} {self.occasion}"


def ready(db: Session, pair_id: int) -> Iterator[News]:
    """That a pair can be dispensed now. Coming back to where it was, after an act taken back, is no news."""
    row = pair(db, pair_id)
    if row.stage == "dispense" and row.parked_on is None:
        yield News("ready", pair_id, row.clinic_id, instant(row.since))


def questions(db: Session, pair_id: int) -> Iterator[News]:
    """What the pair stands still for and the clinic has to answer, each on its own."""
    clinic_id = pair(db, pair_id).clinic_id
    waits = (hold_t.c.pair_id == pair_id, hold_t.c.closed_by.is_(None), hold_t.c.waiting_on == "clinic")
    for hold_id in db.execute(select(hold_t.c.id).where(*waits).order_by(hold_t.c.id)).scalars():
        yield News("question", pair_id, clinic_id, str(hold_id))


def flagged(db: Session, pair_id: int | None = None) -> Iterator[News]:
    """What the rules have noticed and nobody has answered, of one pair or of the lab.

    A red flag is another when another wish brings it; late is a pair once a promised day, however the flag is called.
    """
    found = [
        (subject, each)
        for each in watch.raised(db, pair_id=pair_id)
        for subject, kinds in FLAGS.items()
        if each.flag.kind in kinds and each.said is None and each.subject.pair_id is not None
    ]
    promised = _promised(db, {each.subject.pair_id for _, each in found})
    for subject, each in found:
        mine, clinic_id = each.subject.pair_id or 0, each.subject.clinic_id or 0
        occasion = str(promised[mine]) if subject == "late" else instant(each.flag.since)
        yield News(subject, mine, clinic_id, occasion)


def _promised(db: Session, pair_ids: Collection[int | None]) -> dict[int, date]:
    rows = db.execute(select(pair_t.c.id, pair_t.c.promised_on).where(pair_t.c.id.in_(list(pair_ids))))
    return {row[0]: row[1] for row in rows}


def holds_still(db: Session, letter: Letter) -> bool:
    """Whether what a letter about a pair tells is so at this moment."""
    if letter.pair_id is None:
        return False
    look: dict[str, Any] = {"ready": ready, "question": questions}
    news = look.get(letter.subject, flagged)(db, letter.pair_id)
    return any(each.subject == letter.subject and each.about == letter.about for each in news)


def known(db: Session, subject: str) -> set[tuple[int, str]]:
    """Who has a letter about what already."""
    rows = db.execute(select(col(Letter.staff_id), col(Letter.about)).where(col(Letter.subject) == subject))
    return {(row[0], row[1]) for row in rows}


def digest(db: Session, told: Told) -> dict[str, int]:
    """What waits for a person this morning: at the own clinics, or in the lab for who works for all of it."""
    lab = Role.TECHNICIAN in told.roles or Role.MANAGER in told.roles
    clinics = None if lab else told.clinics
    here = [] if clinics is None else [pair_t.c.clinic_id.in_(list(clinics))]
    waiting, today = bench.counts(db, clinics=clinics), clock.today(people.lab(db).zone)
    flags = [each for each in watch.raised(db, clinics=clinics) if each.said is None]
    stages = {"arrivals": "receive", "ready": "dispense"}
    return {
        **{key: waiting[stage].open for key, stage in stages.items() if stage in waiting},
        "questions": _count(db, func.count(hold_t.c.pair_id.distinct()), _WAITS_FOR_CLINIC, here),
        "overdue": _count(db, func.count(), [*_OPEN_REVIEW, review_t.c.due_on < today], here),
        "due": _count(db, func.count(), [*_OPEN_REVIEW, review_t.c.due_on.between(today, today + SOON)], here),
        "late": len({each.subject.pair_id for each in flags if each.flag.kind in FLAGS["late"]}),
    }


_WAITS_FOR_CLINIC = [hold_t.c.pair_id == pair_t.c.id, hold_t.c.closed_by.is_(None), hold_t.c.waiting_on == "clinic"]
_OPEN_REVIEW = [review_t.c.pair_id == pair_t.c.id, review_t.c.state == "open"]


def _count(db: Session, what: Any, where: Collection[Any], here: Collection[Any]) -> int:
    return int(db.execute(select(what).select_from(pair_t).where(*where, *here)).scalar_one())


def instant(at: datetime) -> str:
    return at.astimezone(UTC).isoformat()
