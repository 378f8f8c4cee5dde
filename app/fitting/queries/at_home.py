"""Reading what a wearer noted at home, and whose page a secret link opens."""

from collections.abc import Collection
from datetime import date, datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlmodel import Session, col

from app.bench.queries import clinic_t, pair_t
from app.fitting.rules import wearer
from app.fitting.rules.wearer import Day
from app.fitting.tables import Review, WearerLink, WearerNote, WearingPlan

UNCLEARED = (col(WearerNote.flagged_at).is_not(None), col(WearerNote.cleared_at).is_(None))


class Opened(NamedTuple):
    """What a secret link opens: nothing that says who the wearer is."""

    pair_id: int
    review_on: date
    appointment: datetime | None
    clinic: str
    phone: str


def opened(db: Session, token_hash: str, today: date, zone: str) -> Opened | None:
    """The page of this link, None if there is none or its time is over; either takes one look, and as long."""
    query = (
        select(
            *(col(WearerLink.pair_id), col(WearerLink.ended_at), col(Review.state), col(Review.due_on)),
            *(col(Review.appointment), clinic_t.c.name, clinic_t.c.phone, clinic_t.c.wearer_pages),
        )
        .join(Review, col(Review.id) == col(WearerLink.review_id))
        .join(pair_t, pair_t.c.id == col(WearerLink.pair_id))
        .join(clinic_t, clinic_t.c.id == pair_t.c.clinic_id)
        .where(col(WearerLink.token_hash) == token_hash)
    )
    row = db.execute(query).first()
    if row is None or row.ended_at is not None or row.state != "open" or not row.wearer_pages:
        return None
    if today > good_until(row.due_on, row.appointment, zone):
        return None
    return Opened(row.pair_id, row.due_on, row.appointment, row.name, row.phone)


def good_until(due_on: date, appointment: datetime | None, zone: str) -> date:
    booked = appointment.astimezone(ZoneInfo(zone)).date() if appointment else None
    return wearer.good_until(due_on, booked)


def open_link(db: Session, pair_id: int) -> WearerLink | None:
    wanted = select(WearerLink).where(col(WearerLink.pair_id) == pair_id, col(WearerLink.ended_at).is_(None))
    return db.execute(wanted).scalars().first()


def notes(db: Session, pair_id: int, plan: WearingPlan, zone: str) -> list[Day]:
    """What was noted since the day of dispensing, in the order of the days."""
    wanted = select(WearerNote).where(col(WearerNote.pair_id) == pair_id, col(WearerNote.day) >= plan.from_day)
    rows = db.execute(wanted.order_by(col(WearerNote.day))).scalars()
    return [_day(row, plan.from_day, zone) for row in rows]


def _day(row: WearerNote, first: date, zone: str) -> Day:
    cleared = row.cleared_at.astimezone(ZoneInfo(zone)).date() if row.cleared_at else None
    return Day(
        number=(row.day - first).days + 1,
        minutes=row.minutes,
        comfort=row.comfort,
        skin=row.skin,
        flagged=row.flagged_at is not None,
        cleared=(cleared - first).days + 1 if cleared else None,
    )


def note_of(db: Session, pair_id: int, day: date) -> WearerNote | None:
    wanted = select(WearerNote).where(col(WearerNote.pair_id) == pair_id, col(WearerNote.day) == day)
    return db.execute(wanted).scalars().first()


def painful(plan: WearingPlan, noted: Collection[Day], today: date) -> set[int]:
    """Every day after which the hours do not rise: by the clinician's word, and by what the wearer noted."""
    return {*plan.painful_days, *wearer.held_days(list(noted), (today - plan.from_day).days + 1)}


def red_flag_since(db: Session, pair_id: int) -> datetime | None:
    """When the wearer noted the first red flag that nobody has cleared."""
    wanted = select(col(WearerNote.flagged_at)).where(col(WearerNote.pair_id) == pair_id, *UNCLEARED)
    return db.execute(wanted.order_by(col(WearerNote.flagged_at)).limit(1)).scalar()


def red_flagged(db: Session, clinics: Collection[int]) -> list[str]:
    """Codes of pairs of these clinics on which a red flag of the wearer's stands, the oldest flag first."""
    wanted = (
        select(pair_t.c.code)
        .join(WearerNote, col(WearerNote.pair_id) == pair_t.c.id)
        .where(*UNCLEARED, pair_t.c.stage == "wear_in", pair_t.c.clinic_id.in_(list(clinics)))
        .order_by(col(WearerNote.flagged_at))
    )
    return list(dict.fromkeys(db.execute(wanted).scalars()))


def told_last(db: Session, pair_ids: Collection[int]) -> dict[int, list[WearerNote]]:
    """The notes of these pairs, by pair, the latest first."""
    if not pair_ids:
        return {}
    wanted = select(WearerNote).where(col(WearerNote.pair_id).in_(list(pair_ids)))
    found: dict[int, list[WearerNote]] = {}
    for row in db.execute(wanted.order_by(col(WearerNote.day).desc())).scalars():
        found.setdefault(row.pair_id, []).append(row)
    return found
