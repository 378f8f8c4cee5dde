"""Who wants to be told of what, and whose a calendar's secret address is."""

from collections.abc import Iterable
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import select
from sqlmodel import Session, col

from app.people.queries import StaffRow, person, staff
from app.people.rules import DIGEST_HOUR, SUBJECTS, Role, concerns
from app.people.tables import CalendarFeed, Staff, ToldOf

told_t = ToldOf.metadata.tables["told_of"]


class Told(NamedTuple):
    """Somebody who works here and wants to be told of a subject."""

    staff_id: int
    email: str
    roles: frozenset[Role]
    clinics: frozenset[int]
    since: datetime | None
    """When it was chosen; None where it is as is usual."""
    hour: int

    def of(self, subject: str, clinic_id: int | None) -> bool:
        return concerns(subject, self.roles, self.clinics, clinic_id)


def to_tell(db: Session, subject: str) -> list[Told]:
    """Everyone whom the subject concerns somewhere and who wants to be told of it, by name."""
    chosen = {row.staff_id: row for row in db.execute(select(told_t).where(told_t.c.subject == subject))}
    found = []
    for each in staff(db):
        row = chosen.get(each.id)
        wanted = row.wanted if row else SUBJECTS[subject].usual
        told = _told(each, row.since if row else None, row.hour if row else None)
        if wanted and each.ended_at is None and told.of(subject, None):
            found.append(told)
    return found


def _told(row: StaffRow, since: datetime | None, hour: int | None) -> Told:
    roles = frozenset(map(Role, row.roles))
    return Told(row.id, row.email, roles, frozenset(row.clinics), since, DIGEST_HOUR if hour is None else hour)


class Choices(NamedTuple):
    """What stands on a person's page: the subjects that are for the own roles, those wanted, the digest's hour."""

    subjects: list[str]
    wanted: list[str]
    hour: int


def choices(db: Session, staff_id: int) -> Choices:
    rows = {row.subject: row for row in db.execute(select(told_t).where(told_t.c.staff_id == staff_id))}
    me = _told(person(db, staff_id), None, rows["digest"].hour if "digest" in rows else None)
    mine = [subject for subject in SUBJECTS if me.of(subject, None)]
    wanted = [each for each in mine if (rows[each].wanted if each in rows else SUBJECTS[each].usual)]
    return Choices(mine, wanted, me.hour)


def calendar_made_at(db: Session, staff_id: int) -> datetime | None:
    """When the calendar's address that works now was made; None if there is none."""
    found: datetime | None = db.execute(
        select(col(CalendarFeed.made_at)).where(col(CalendarFeed.staff_id) == staff_id)
    ).scalar()
    return found


def whose_calendar(db: Session, secret_hash: str) -> frozenset[int] | None:
    """The clinics of the clinician with this calendar; None if nobody has it, or who had it is no clinician here."""
    row = db.execute(
        select(col(Staff.id), col(Staff.roles))
        .join(CalendarFeed, col(CalendarFeed.staff_id) == col(Staff.id))
        .where(col(CalendarFeed.secret_hash) == secret_hash, col(Staff.ended_at).is_(None))
    ).first()
    if row is None or not has_calendar(map(Role, row.roles)):
        return None
    return frozenset(person(db, row.id).clinics)


def has_calendar(roles: Iterable[Role]) -> bool:
    """Reviews are the clinicians'."""
    return Role.CLINICIAN in roles
