"""Reading the lab, its calendar and clinics, its staff, and who a token belongs to. Plain rows, few queries."""

from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import date, datetime, time
from functools import lru_cache
from typing import Any, NamedTuple

import holidays
from sqlalchemy import ColumnElement, Select, Table, bindparam, literal, select
from sqlmodel import Session, col

from app import clock
from app.errors import NotFound
from app.journal.tables import Entry
from app.people.rules import Role, Viewer, token_mark, units_of
from app.people.tables import ApiToken, Calendar, Clinic, Lab, Link, Recount, Staff, StaffClinic
from app.trade.worktime import WorkCalendar


class LabRow(NamedTuple):
    name: str
    address: str
    phone: str
    zone: str
    stages_on: list[str]
    limits: dict[str, Any]
    calendar_id: int
    counted_in: int | None
    demo: bool
    marks_start: bool
    last_allowance: int


lab_t, calendar_t, staff_t, clinics_t, clinic_t, session_t, token_t, station_t = (
    Lab.metadata.tables[name]
    for name in ("lab", "calendar", "staff", "staff_clinic", "clinic", "signed_in", "api_token", "station")
)
# What every request asks is built once, over plain tables: building it costs as much as running it.
_LAB_COLUMNS = tuple(lab_t.c[name] for name in LabRow._fields)
_HOURS_COLUMNS = tuple(calendar_t.c[name] for name in ("hours", "country", "region", "closures"))
_HOURS_OF = select(*_HOURS_COLUMNS, calendar_t.c.zone).where(calendar_t.c.id == bindparam("which"))
_LAB = select(*_LAB_COLUMNS, *_HOURS_COLUMNS).join(calendar_t, calendar_t.c.id == lab_t.c.calendar_id, isouter=True)


def is_set_up(db: Session) -> bool:
    return db.execute(select(col(Lab.id))).first() is not None


def lab(db: Session) -> LabRow:
    """The lab and its settings; read once a session, however many rooms ask."""
    known = db.info.get("lab")
    if isinstance(known, LabRow):
        return known
    row = db.execute(_LAB).first()
    if row is None:
        raise NotFound("This lab is not set up yet; open the link that `pairtrail serve` printed.")
    return _noted(db, row)


def _noted(db: Session, row: Sequence[Any]) -> LabRow:
    """The session remembers the lab and the hours beside it, from a row of `_LAB_COLUMNS` and `_HOURS_COLUMNS`."""
    here = LabRow(*row[: len(_LAB_COLUMNS)])
    db.info["lab"], db.info["hours"] = here, row[len(_LAB_COLUMNS) :]
    return here


def limit(db: Session, name: str) -> Any | None:
    """What the lab has set of a limit; None leaves the default."""
    return lab(db).limits.get(name)


def work_calendar(db: Session) -> WorkCalendar:
    """The working calendar in force, with public holidays from twelve years back to three ahead."""
    here = lab(db)
    return _hours(here.zone, *db.info["hours"])


class Counted(NamedTuple):
    """A calendar in which stays are kept."""

    calendar_id: int
    hours: WorkCalendar


def counted(db: Session) -> Counted:
    """The calendar of all figures: the one in force, or the one before it until times are counted anew."""
    here = lab(db)
    if here.counted_in is None:
        return Counted(here.calendar_id, work_calendar(db))
    *hours, zone = db.execute(_HOURS_OF, {"which": here.counted_in}).one()
    return Counted(here.counted_in, _hours(zone or here.zone, *hours))


def counting(db: Session) -> list[Counted]:
    """Every calendar in which a stay has to be counted when it ends: one, or two until times are counted anew."""
    here = lab(db)
    in_force = Counted(here.calendar_id, work_calendar(db))
    return [in_force] if here.counted_in is None else [in_force, counted(db)]


def recounted(db: Session) -> int | None:
    """How far times have been counted anew, in per cent below 100; None when all figures are of the hours in force."""
    row = db.execute(select(col(Recount.upto), col(Recount.last))).first()
    if row is None:
        return None
    return min(99, 100 * row[0] // row[1]) if row[1] else 0


def _hours(
    zone: str, hours: Sequence[Sequence[tuple[str, str]]], country: str, region: str, closures: Sequence[str]
) -> WorkCalendar:
    spans = tuple(tuple((start, end) for start, end in day) for day in hours)
    return _calendar(zone, spans, country, region, tuple(closures), clock.today(zone).year)


@lru_cache(maxsize=64)
def _calendar(
    zone: str,
    spans: tuple[tuple[tuple[str, str], ...], ...],
    country: str,
    region: str,
    closures: tuple[str, ...],
    year: int,
) -> WorkCalendar:
    """One value for equal settings, so that what is worked out on it is kept from request to request."""
    hours = tuple(tuple((time.fromisoformat(start), time.fromisoformat(end)) for start, end in day) for day in spans)
    off = {date.fromisoformat(day) for day in closures}
    if country:
        years = range(year - 12, year + 4)
        off |= set(holidays.country_holidays(country, subdiv=region or None, years=years))
    return WorkCalendar(zone, hours, frozenset(off))


class ClinicRow(NamedTuple):
    id: int
    name: str
    address: str
    phone: str
    by_parcel: bool
    trims: bool
    units: str
    transit_days: int
    waits_for: list[str]
    wearer_pages: bool


LARGEST_ID = 2**31 - 1
"""PostgreSQL's `integer`: a larger number can't even be compared with an id; nothing has it."""
CLINIC_COLUMNS = tuple(Clinic.metadata.tables["clinic"].c[name] for name in ClinicRow._fields)


def clinics(db: Session) -> list[ClinicRow]:
    return [ClinicRow(*row) for row in db.execute(select(*CLINIC_COLUMNS).order_by(col(Clinic.name)))]


def clinic(db: Session, clinic_id: int) -> ClinicRow:
    wanted = select(*CLINIC_COLUMNS).where(col(Clinic.id) == clinic_id)
    row = db.execute(wanted).first() if abs(clinic_id) <= LARGEST_ID else None
    if row is None:
        raise NotFound("There is no such clinic.")
    return ClinicRow(*row)


def staff_names(db: Session, ids: Collection[int]) -> dict[int, str]:
    rows = db.execute(select(col(Staff.id), col(Staff.name)).where(col(Staff.id).in_(list(ids))))
    return {row[0]: row[1] for row in rows}


class Known(NamedTuple):
    """Who a cookie or token belongs to, and when it was last used; a session always was, a token perhaps never."""

    viewer: Viewer
    seen_at: datetime | None


def _person(token: Table, seen_at: ColumnElement[Any], station: ColumnElement[Any] = literal("")) -> Select[Any]:
    """One query for session or token, person, clinics and the lab; a person who has left is nobody."""
    return (
        select(staff_t.c.id, staff_t.c.name, staff_t.c.roles, clinics_t.c.clinic_id, clinic_t.c.units, seen_at, station)
        .add_columns(*_LAB_COLUMNS, *_HOURS_COLUMNS)
        .select_from(token)
        .join(staff_t, staff_t.c.id == token.c.staff_id)
        .join(lab_t, lab_t.c.id == 1)
        .join(calendar_t, calendar_t.c.id == lab_t.c.calendar_id, isouter=True)
        .join(clinics_t, clinics_t.c.staff_id == staff_t.c.id, isouter=True)
        .join(clinic_t, clinic_t.c.id == clinics_t.c.clinic_id, isouter=True)
        .where(token.c.token_hash == bindparam("token_hash"), token.c.ended_at.is_(None), staff_t.c.ended_at.is_(None))
    )


_BY_SESSION = _person(session_t, session_t.c.seen_at).where(session_t.c.station_id.is_(None))
_BY_TOKEN = _person(token_t, token_t.c.used_at)
_BY_SIGN_ON = (
    _person(session_t, session_t.c.seen_at, station_t.c.name)
    .join(station_t, station_t.c.id == session_t.c.station_id)
    .where(station_t.c.token_hash == bindparam("tablet_hash"), station_t.c.ended_at.is_(None))
)


def who_is_signed_in(db: Session, token_hash: str) -> Known | None:
    """Not at a tablet of the bench: a sign-on there is a session of another kind and no key to anything else."""
    return _known(db, _BY_SESSION, token_hash=token_hash)


def whose_token(db: Session, token_hash: str) -> Known | None:
    return _known(db, _BY_TOKEN, token_hash=token_hash)


def who_is_signed_on(db: Session, token_hash: str, tablet_hash: str) -> Known | None:
    """At this tablet, as long as it is enrolled: a technician and nothing else, whatever the person is elsewhere."""
    known = _known(db, _BY_SIGN_ON, token_hash=token_hash, tablet_hash=tablet_hash)
    if known is None or Role.TECHNICIAN not in known.viewer.roles:
        return None
    alone = replace(known.viewer, roles=frozenset({Role.TECHNICIAN}), clinics=frozenset())
    return known._replace(viewer=alone)


def _known(db: Session, query: Select[Any], **secret_hashes: str) -> Known | None:
    rows = db.execute(query, secret_hashes).all()
    if not rows:
        return None
    staff_id, name, roles, _, _, seen_at, station, *here = rows[0]
    clinic_ids = frozenset(row[3] for row in rows if row[3] is not None)
    held, units = frozenset(Role(role) for role in roles), units_of(row[4] for row in rows)
    return Known(Viewer(staff_id, name, held, clinic_ids, _noted(db, here).zone, units, station), seen_at)


def prescribers(db: Session, clinic_ids: Collection[int]) -> list[tuple[int, str]]:
    """Clinicians of these clinics who still work here, by name."""
    rows = db.execute(
        select(col(Staff.id), col(Staff.name), col(Staff.roles))
        .join(StaffClinic, col(StaffClinic.staff_id) == col(Staff.id))
        .where(col(StaffClinic.clinic_id).in_(list(clinic_ids)), col(Staff.ended_at).is_(None))
        .order_by(col(Staff.name))
    )
    return list(dict.fromkeys((row[0], row[1]) for row in rows if Role.CLINICIAN in row[2]))


def has_read(db: Session, staff_id: int, patient_id: int, since: datetime) -> bool:
    """Whether this person's reading of this wearer's record stands in the journal already."""
    found = select(col(Entry.id)).where(
        col(Entry.subject) == "patient",
        col(Entry.subject_id) == patient_id,
        col(Entry.staff_id) == staff_id,
        col(Entry.what) == "patient_read",
        col(Entry.at) >= since,
    )
    return db.execute(found.limit(1)).first() is not None


class StaffRow(NamedTuple):
    id: int
    name: str
    email: str
    roles: list[str]
    clinics: list[int]
    joined_at: datetime
    ended_at: datetime | None


def staff(db: Session) -> list[StaffRow]:
    """Everyone, those who left last."""
    belongs: dict[int, list[int]] = {}
    for staff_id, clinic_id in db.execute(select(col(StaffClinic.staff_id), col(StaffClinic.clinic_id))):
        belongs.setdefault(staff_id, []).append(clinic_id)
    rows = db.execute(
        select(
            col(Staff.id),
            col(Staff.name),
            col(Staff.email),
            col(Staff.roles),
            col(Staff.joined_at),
            col(Staff.ended_at),
        ).order_by(col(Staff.ended_at).is_not(None), col(Staff.name))
    )
    return [StaffRow(row[0], row[1], row[2], row[3], belongs.get(row[0], []), row[4], row[5]) for row in rows]


def person(db: Session, staff_id: int) -> StaffRow:
    for row in staff(db):
        if row.id == staff_id:
            return row
    raise NotFound("Nobody like that works here.")


class TokenRow(NamedTuple):
    mark: str
    name: str
    made_at: datetime
    used_at: datetime | None


def tokens(db: Session, staff_id: int) -> list[TokenRow]:
    """A person's tokens that still work, the newest first."""
    rows = db.execute(
        select(col(ApiToken.token_hash), col(ApiToken.name), col(ApiToken.made_at), col(ApiToken.used_at))
        .where(col(ApiToken.staff_id) == staff_id, col(ApiToken.ended_at).is_(None))
        .order_by(col(ApiToken.made_at).desc())
    )
    return [TokenRow(token_mark(row[0]), *row[1:]) for row in rows]


def staff_id(db: Session, email: str) -> int:
    """Of somebody who works here now."""
    mine = (col(Staff.email) == email.strip().lower(), col(Staff.ended_at).is_(None))
    row = db.execute(select(col(Staff.id)).where(*mine)).first()
    if row is None:
        raise NotFound(f"Nobody with the e-mail address {email} works here.")
    return int(row[0])


class Invitation(NamedTuple):
    name: str
    email: str
    roles: list[str]
    ends_at: datetime


def open_invitations(db: Session) -> list[Invitation]:
    rows = db.execute(
        select(col(Link.name), col(Link.email), col(Link.roles), col(Link.ends_at))
        .where(col(Link.purpose) == "invitation", col(Link.used_at).is_(None), col(Link.ends_at) > clock.now())
        .order_by(col(Link.ends_at))
    )
    return [Invitation(*row) for row in rows]


def calendar_row(db: Session) -> Calendar:
    return db.get_one(Calendar, lab(db).calendar_id)
