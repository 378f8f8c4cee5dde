"""What becomes of people once they are here: joining, other roles and clinics, the end of access."""

from collections.abc import Iterable

from sqlalchemy import delete, update
from sqlmodel import Session, col, select

from app import clock
from app.errors import BadInput, NotFound, Unready
from app.journal import actions as journal
from app.people import queries
from app.people.actions.passwords import Passwords
from app.people.actions.stations import end_sign_ons
from app.people.rules import Role, SignedOffBy, Viewer, password_fault
from app.people.tables import ApiToken, Badge, CalendarFeed, Lab, Link, SignedIn, Staff, StaffClinic


def join(
    db: Session,
    passwords: Passwords,
    *,
    name: str,
    email: str,
    password: str,
    roles: Iterable[str],
    clinics: Iterable[int],
) -> int:
    """A new person, or one who left and comes back under the same address."""
    email = email.strip().lower()
    password = fresh_password(db, passwords, name=name, email=email, password=password)
    staff = db.exec(select(Staff).where(Staff.email == email).with_for_update()).first()
    if staff is None:
        staff = Staff(email=email, name=name, joined_at=clock.now())
        db.add(staff)
    staff.name, staff.roles, staff.ended_at, staff.password = name, in_order(roles), None, password
    db.flush()
    _belong(db, staff.id, clinics)
    return staff.id


def fresh_password(db: Session, passwords: Passwords, *, name: str, email: str, password: str) -> str:
    """The stored form of a newly chosen password; refuses one that would be among the first to be tried."""
    here = queries.lab(db).name if queries.is_set_up(db) else ""
    if fault := password_fault(password, email, name, here):
        raise BadInput("The password needs another look.", {"password": fault})
    return passwords.stored_form(password)


def in_order(roles: Iterable[str]) -> list[str]:
    """Each role once, in the order in which they are always named."""
    return [str(role) for role in Role if role in set(roles)]


def place_faults(db: Session, roles: list[str], clinics: list[int]) -> dict[str, str]:
    """What is wrong with these roles at these clinics, by field."""
    wrong = {}
    if not roles or set(roles) - set(Role):
        wrong["roles"] = "Choose one role or more."
    if set(clinics) - {clinic.id for clinic in queries.clinics(db)}:
        wrong["clinics"] = "One of these clinics does not exist; choose from the list."
    elif Role.CLINICIAN in roles and not clinics:
        wrong["clinics"] = "A clinician belongs to a clinic; choose at least one."
    return wrong


def _belong(db: Session, staff_id: int, clinics: Iterable[int]) -> None:
    db.execute(delete(StaffClinic).where(col(StaffClinic.staff_id) == staff_id))
    db.add_all(StaffClinic(staff_id=staff_id, clinic_id=clinic_id) for clinic_id in sorted(set(clinics)))


def here_now(db: Session, staff_id: int) -> Staff:
    # One change to the staff at a time: of two last managers who end each other at once, the second is refused.
    db.get_one(Lab, 1, with_for_update=True)
    if queries.person(db, staff_id).ended_at is not None:
        raise NotFound("Nobody like that works here any more.")
    return db.get_one(Staff, staff_id, with_for_update=True)


def change_staff(db: Session, *, by: Viewer, staff_id: int, roles: list[str], clinics: list[int]) -> None:
    """Roles and clinics from the next request on; what is already so writes nothing."""
    staff = here_now(db, staff_id)
    if wrong := place_faults(db, roles, clinics):
        raise BadInput("Roles and clinics need another look.", wrong)
    if Role.MANAGER not in roles:
        _not_the_last(db, staff)
    before = sorted(db.exec(select(StaffClinic.clinic_id).where(StaffClinic.staff_id == staff_id)).all())
    after = sorted(set(clinics))
    if staff.roles == in_order(roles) and before == after:
        return
    facts = {"roles": [staff.roles, in_order(roles)], "clinics": [before, after]}
    staff.roles = in_order(roles)
    _belong(db, staff_id, clinics)
    journal.write(db, "staff_changed", by=by.staff_id, subject="staff", subject_id=staff_id, facts=facts)


def end_access(db: Session, *, by: Viewer, staff_id: int) -> None:
    """At once: every session, token, badge, calendar and open link of the person stops with this transaction."""
    staff = here_now(db, staff_id)
    _not_the_last(db, staff)
    staff.ended_at, staff.password, staff.pin = clock.now(), None, None
    void_badges(db, staff_id)
    db.execute(delete(CalendarFeed).where(col(CalendarFeed.staff_id) == staff_id))
    end_sign_ons(db, why=SignedOffBy.ACCESS_ENDED, staff_id=staff_id)
    end_sessions(db, staff_id)
    tokens = update(ApiToken).where(col(ApiToken.staff_id) == staff_id, col(ApiToken.ended_at).is_(None))
    db.execute(tokens.values(ended_at=clock.now()))
    close_links(db, staff.email)
    journal.write(db, "access_ended", by=by.staff_id, subject="staff", subject_id=staff_id)


def end_sessions(db: Session, staff_id: int) -> None:
    rows = update(SignedIn).where(col(SignedIn.staff_id) == staff_id, col(SignedIn.ended_at).is_(None))
    db.execute(rows.values(ended_at=clock.now()))


def void_badges(db: Session, staff_id: int) -> bool:
    """Whether there was one that worked until now."""
    rows = update(Badge).where(col(Badge.staff_id) == staff_id, col(Badge.void_at).is_(None))
    return db.execute(rows.values(void_at=clock.now()).returning(col(Badge.id))).first() is not None


def close_links(db: Session, email: str) -> int:
    """Makes every link that still works for this address stop working; returns how many did."""
    rows = update(Link).where(col(Link.email) == email, col(Link.used_at).is_(None), col(Link.ends_at) > clock.now())
    return len(db.execute(rows.values(used_at=clock.now()).returning(col(Link.token_hash))).all())


def _not_the_last(db: Session, staff: Staff) -> None:
    if Role.MANAGER not in staff.roles:
        return
    others = select(Staff.roles).where(col(Staff.ended_at).is_(None), Staff.id != staff.id)
    if not any(Role.MANAGER in roles for roles in db.exec(others)):
        raise Unready(f"{staff.name} is the last manager; make someone else a manager first.")
