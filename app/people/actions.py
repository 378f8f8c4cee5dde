"""Letting people in and out: set-up, invitations, sign-in with a slow-down, roles, tokens; every one journalled."""

from datetime import UTC, datetime, timedelta
from typing import Any

from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error
from sqlalchemy import func, update
from sqlmodel import Session, col, select

from app import clock
from app.errors import BadInput, NotFound, SignedOut, TooManyTries, Unready
from app.journal import actions as journal
from app.people import queries
from app.people.rules import Role, Viewer, hash_of, new_token, password_fault
from app.people.tables import ApiToken, Calendar, Clinic, FailedSignIn, Lab, Link, SignedIn, Staff, StaffClinic

hasher = PasswordHasher()
# A wrong e-mail has to take as long as a wrong password: both are compared with a hash.
NOBODY = hasher.hash("nobody has this password")
WINDOW = timedelta(minutes=15)
TRIES = 8
"""Wrong passwords per name or address in a quarter of an hour before it has to rest."""
LINK_LASTS = timedelta(days=7)


def sign_in(db: Session, *, email: str, password: str, browser: str = "") -> str:
    """Returns the token of a new session; a caller that is refused counts it with `failed`."""
    staff = db.exec(select(Staff).where(Staff.email == email.strip().lower())).first()
    stored = staff.password if staff and staff.ended_at is None else None
    if not _matches(stored or NOBODY, password) or staff is None or stored is None:
        raise SignedOut("E-mail and password do not fit together.")
    if hasher.check_needs_rehash(stored):
        staff.password = hasher.hash(password)
    journal.write(db, "signed_in", by=staff.id)
    db.execute(FailedSignIn.metadata.tables["failed_sign_in"].delete().where(col(FailedSignIn.key) == _by_name(email)))
    return start_session(db, staff.id, browser)


def _matches(stored: str, password: str) -> bool:
    try:
        return hasher.verify(stored, password)
    except Argon2Error:
        return False


def start_session(db: Session, staff_id: int, browser: str = "") -> str:
    """A token that was never sent before: signing in never continues somebody else's session."""
    token, now = new_token(), clock.now()
    db.add(SignedIn(token_hash=hash_of(token), staff_id=staff_id, started_at=now, seen_at=now, browser=browser[:200]))
    return token


def sign_out(db: Session, *, token: str) -> None:
    row = db.get(SignedIn, hash_of(token))
    if row is not None and row.ended_at is None:
        row.ended_at = clock.now()
        journal.write(db, "signed_out", by=row.staff_id)


def hold_back(db: Session, *, email: str, address: str) -> None:
    """Refuses while this name or this address has failed too often; says how long to wait."""
    since = _window()
    for key in (_by_name(email), f"address {address}"):
        row = select(FailedSignIn.tries).where(FailedSignIn.key == key, FailedSignIn.window_start == since)
        if (db.exec(row).first() or 0) >= TRIES:
            wait = int((since + WINDOW - clock.now()).total_seconds() // 60) + 1
            raise TooManyTries(f"Too many wrong passwords. Try again in {wait} min, or ask a manager for a new link.")


def failed(db: Session, *, email: str, address: str) -> None:
    """Counts a wrong password in a transaction of its own, for all processes."""
    since = _window()
    for key in (_by_name(email), f"address {address}"):
        row = db.exec(
            select(FailedSignIn).where(FailedSignIn.key == key, FailedSignIn.window_start == since).with_for_update()
        ).first()
        if row is None:
            row = FailedSignIn(key=key, window_start=since)
            db.add(row)
        row.tries += 1
    journal.write(db, "sign_in_refused", by=None)


def _by_name(email: str) -> str:
    return f"name {hash_of(email.strip().lower())}"


def _window() -> datetime:
    """The beginning of the present quarter of an hour."""
    length = int(WINDOW.total_seconds())
    return datetime.fromtimestamp(int(clock.now().timestamp()) // length * length, UTC)


def set_up_link(db: Session) -> str | None:
    """The secret of the first manager's link while the lab is not set up; earlier ones stop working."""
    if queries.is_set_up(db):
        return None
    db.execute(Link.metadata.tables["link"].delete().where(col(Link.purpose) == "set_up"))
    token, now = new_token(), clock.now()
    db.add(Link(token_hash=hash_of(token), purpose="set_up", made_at=now, ends_at=now + LINK_LASTS))
    return token


def find_link(db: Session, token: str, purpose: str) -> Link:
    """The link if it still works; used, expired and unknown ones are all the same to a stranger."""
    link = db.get(Link, hash_of(token), with_for_update=True)
    if link is None or link.purpose != purpose or link.used_at is not None or link.ends_at < clock.now():
        raise NotFound("This link was used or has expired. Ask for a new one.")
    return link


def set_up_lab(
    db: Session,
    *,
    token: str,
    name: str,
    address: str,
    phone: str,
    zone: str,
    hours: list[list[list[str]]],
    country: str,
    region: str,
    stages_on: list[str],
    clinics: list[dict[str, Any]],
    person: str,
    email: str,
    password: str,
) -> int:
    """Makes the lab, its calendar and clinics and the first manager, who gets every role and clinic."""
    find_link(db, token, "set_up").used_at = clock.now()
    if queries.is_set_up(db):
        raise Unready("This lab is already set up.")
    calendar = Calendar(hours=hours, country=country, region=region, made_at=clock.now())
    db.add(calendar)
    db.flush()
    db.add(
        Lab(name=name, address=address, phone=phone, zone=zone, stages_on=stages_on, calendar_id=calendar.id, limits={})
    )
    rows = [Clinic(**clinic) for clinic in clinics]
    db.add_all(rows)
    db.flush()
    staff_id = _join(db, person, email, password, list(Role), [row.id for row in rows])
    journal.write(db, "lab_set_up", by=staff_id, facts={"clinics": [row.id for row in rows]})
    return staff_id


def invite(db: Session, *, by: Viewer | None, email: str, name: str, roles: list[str], clinics: list[int]) -> str:
    """Returns the secret of a single-use link; the person chooses a password on it."""
    wrong: dict[str, str] = {}
    email = email.strip().lower()
    if "@" not in email or len(email) > 200:
        wrong["email"] = "An e-mail address reads like name@place.example."
    elif db.exec(select(Staff.id).where(Staff.email == email, col(Staff.ended_at).is_(None))).first():
        wrong["email"] = "Someone with this e-mail address already works here."
    if not name.strip():
        wrong["name"] = "The name is missing."
    if not roles or set(roles) - set(Role):
        wrong["roles"] = "Choose one role or more."
    if Role.CLINICIAN in roles and not clinics:
        wrong["clinics"] = "A clinician belongs to a clinic; choose at least one."
    if wrong:
        raise BadInput("The invitation needs another look.", wrong)
    token, now = new_token(), clock.now()
    db.add(
        Link(
            token_hash=hash_of(token),
            purpose="invitation",
            email=email,
            name=name.strip(),
            roles=roles,
            clinics=clinics,
            made_by=by.staff_id if by else None,
            made_at=now,
            ends_at=now + LINK_LASTS,
        )
    )
    journal.write(db, "invited", by=by.staff_id if by else None, facts={"roles": roles, "clinics": clinics})
    return token


def accept_invitation(db: Session, *, token: str, password: str) -> int:
    link = find_link(db, token, "invitation")
    staff_id = _join(db, link.name, link.email, password, [Role(role) for role in link.roles], link.clinics)
    link.used_at = clock.now()
    journal.write(db, "joined", by=staff_id, subject="staff", subject_id=staff_id)
    return staff_id


def _join(db: Session, name: str, email: str, password: str, roles: list[Role], clinics: list[int]) -> int:
    """A new person, or one who left and comes back under the same address."""
    email = email.strip().lower()
    here = queries.lab(db).name if queries.is_set_up(db) else ""
    if fault := password_fault(password, email, name, here):
        raise BadInput("The password needs another look.", {"password": fault})
    staff = db.exec(select(Staff).where(Staff.email == email)).first()
    if staff is None:
        staff = Staff(email=email, name=name, joined_at=clock.now())
        db.add(staff)
    staff.name, staff.roles, staff.ended_at = name, [str(role) for role in roles], None
    staff.password = hasher.hash(password)
    db.flush()
    _belong(db, staff.id, clinics)
    return staff.id


def _belong(db: Session, staff_id: int, clinics: list[int]) -> None:
    table = StaffClinic.metadata.tables["staff_clinic"]
    db.execute(table.delete().where(table.c.staff_id == staff_id))
    db.add_all(StaffClinic(staff_id=staff_id, clinic_id=clinic_id) for clinic_id in sorted(set(clinics)))


def change_staff(db: Session, *, by: Viewer, staff_id: int, roles: list[str], clinics: list[int]) -> None:
    """Roles and clinics from the next request on; what is already so writes nothing."""
    staff = db.get(Staff, staff_id, with_for_update=True)
    if staff is None or staff.ended_at is not None:
        raise NotFound("Nobody like that works here.")
    if not roles or set(roles) - set(Role):
        raise BadInput("Choose one role or more.", {"roles": "Choose one role or more."})
    if Role.CLINICIAN in roles and not clinics:
        words = "A clinician belongs to a clinic; choose at least one."
        raise BadInput(words, {"clinics": words})
    if Role.MANAGER not in roles:
        _not_the_last(db, staff)
    before = sorted(db.exec(select(StaffClinic.clinic_id).where(StaffClinic.staff_id == staff_id)).all())
    if sorted(staff.roles) == sorted(roles) and before == sorted(set(clinics)):
        return
    facts = {"roles": [staff.roles, roles], "clinics": [before, sorted(set(clinics))]}
    staff.roles = roles
    _belong(db, staff_id, clinics)
    journal.write(db, "staff_changed", by=by.staff_id, subject="staff", subject_id=staff_id, facts=facts)


def end_access(db: Session, *, by: Viewer, staff_id: int) -> None:
    """At once: every session and token of the person stops with this transaction."""
    staff = db.get(Staff, staff_id, with_for_update=True)
    if staff is None or staff.ended_at is not None:
        raise NotFound("Nobody like that works here.")
    _not_the_last(db, staff)
    now = clock.now()
    staff.ended_at, staff.password = now, None
    for table in (SignedIn, ApiToken):
        rows = update(table).where(col(table.staff_id) == staff_id, col(table.ended_at).is_(None))
        db.execute(rows.values(ended_at=now))
    journal.write(db, "access_ended", by=by.staff_id, subject="staff", subject_id=staff_id)


def _not_the_last(db: Session, staff: Staff) -> None:
    if Role.MANAGER not in staff.roles:
        return
    others = select(Staff.roles).where(col(Staff.ended_at).is_(None), Staff.id != staff.id)
    if not any(Role.MANAGER in roles for roles in db.exec(others)):
        raise Unready(f"{staff.name} is the last manager; make someone else a manager first.")


def make_token(db: Session, *, email: str) -> str:
    """A program's key to act as this person; it is shown once."""
    staff = db.exec(select(Staff).where(Staff.email == email.strip().lower(), col(Staff.ended_at).is_(None))).first()
    if staff is None:
        raise NotFound(f"Nobody with the e-mail address {email} works here.")
    token = new_token()
    db.add(ApiToken(token_hash=hash_of(token), staff_id=staff.id, made_at=clock.now()))
    journal.write(db, "token_made", by=staff.id, subject="staff", subject_id=staff.id)
    return token


def change_lab(db: Session, *, by: Viewer, calendar: dict[str, Any] | None = None, **changes: Any) -> None:
    """Settings that differ are written and journalled by name; a changed calendar becomes a new one."""
    lab = db.get_one(Lab, 1, with_for_update=True)
    changed = [name for name, value in changes.items() if getattr(lab, name) != value]
    for name in changed:
        setattr(lab, name, changes[name])
    if calendar is not None:
        now = db.get_one(Calendar, lab.calendar_id)
        if any(getattr(now, name) != value for name, value in calendar.items()):
            new = Calendar(made_at=clock.now(), **calendar)
            db.add(new)
            db.flush()
            lab.calendar_id = new.id
            changed.append("calendar")
    if changed:
        journal.write(db, "lab_changed", by=by.staff_id, subject="lab", subject_id=1, facts={"fields": changed})


def keep_clinic(db: Session, *, by: Viewer, clinic_id: int | None, name: str, **facts: Any) -> int:
    """Adds a clinic, or changes one; pairs on their way keep the terms they started with."""
    name = name.strip()
    taken = select(Clinic.id).where(func.lower(col(Clinic.name)) == name.lower())
    if not name or db.exec(taken).first() not in (None, clinic_id):
        words = "A clinic needs a name of its own."
        raise BadInput(words, {"name": words})
    row = db.get(Clinic, clinic_id) if clinic_id else Clinic(name=name)
    if row is None:
        raise NotFound("There is no such clinic.")
    values = {"name": name} | facts
    changed = [key for key, value in values.items() if clinic_id is None or getattr(row, key) != value]
    for key in changed:
        setattr(row, key, values[key])
    db.add(row)
    db.flush()
    if changed:
        what = "clinic_changed" if clinic_id else "clinic_added"
        journal.write(db, what, by=by.staff_id, subject="clinic", subject_id=row.id, facts={"fields": changed})
    return row.id
