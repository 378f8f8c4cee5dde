"""The single-use links: setting up the lab, inviting somebody, a new password for who forgot the old one."""

from datetime import timedelta
from typing import Any

from sqlmodel import Session, col, select

from app import clock
from app.errors import BadInput, NotFound, Unready
from app.journal import actions as journal
from app.people import queries
from app.people.actions.passwords import Passwords
from app.people.actions.staff import close_links, end_sessions, fresh_password, here_now, in_order, join, place_faults
from app.people.rules import Role, Viewer, email_fault, hash_of, new_token
from app.people.tables import Calendar, Clinic, Lab, Link, Staff

LINK_LASTS = timedelta(days=7)


def set_up_link(db: Session) -> str | None:
    """The secret of the first manager's link while the lab is not set up; earlier ones stop working."""
    if queries.is_set_up(db):
        return None
    db.execute(Link.metadata.tables["link"].delete().where(col(Link.purpose) == "set_up"))
    return _link(db, purpose="set_up")


def _link(db: Session, *, purpose: str, by: Viewer | None = None, **more: Any) -> str:
    """Returns the secret; only its digest is kept."""
    token, now = new_token(), clock.now()
    made_by = by.staff_id if by else None
    link = Link(
        token_hash=hash_of(token), purpose=purpose, made_by=made_by, made_at=now, ends_at=now + LINK_LASTS, **more
    )
    db.add(link)
    return token


def find_link(db: Session, token: str, *purposes: str) -> Link:
    """The link if it still works; used, expired and unknown ones are all the same to a stranger."""
    link = db.get(Link, hash_of(token), with_for_update=True)
    if link is None or link.purpose not in purposes or link.used_at is not None or link.ends_at < clock.now():
        raise NotFound("This link was used or has expired. Ask for a new one.")
    return link


def set_up_lab(
    db: Session,
    passwords: Passwords,
    *,
    token: str,
    lab: dict[str, Any],
    calendar: dict[str, Any],
    clinics: list[dict[str, Any]],
    person: str,
    email: str,
    password: str,
) -> int:
    """Makes the lab, its calendar and clinics and the first manager, who gets every role and clinic.

    `lab` and `calendar` hold the columns of their tables. Returns the manager's id.
    """
    find_link(db, token, "set_up").used_at = clock.now()
    if queries.is_set_up(db):
        raise Unready("This lab is already set up.")
    hours = Calendar(made_at=clock.now(), zone=lab.get("zone", ""), **calendar)
    db.add(hours)
    db.flush()
    db.add(Lab(calendar_id=hours.id, limits={}, **lab))
    rows = [Clinic(**clinic) for clinic in clinics]
    db.add_all(rows)
    db.flush()
    ids = [row.id for row in rows]
    staff_id = join(db, passwords, name=person, email=email, password=password, roles=list(Role), clinics=ids)
    journal.write(db, "lab_set_up", by=staff_id, facts={"clinics": ids})
    return staff_id


def invite(db: Session, *, by: Viewer | None, email: str, name: str, roles: list[str], clinics: list[int]) -> str:
    """Returns the secret of a single-use link; an earlier invitation of this address stops working."""
    email, name = email.strip().lower(), name.strip()
    wrong: dict[str, str] = {}
    if not 1 <= len(name) <= 120:
        wrong["name"] = "A name has 1 to 120 characters."
    if fault := email_fault(email):
        wrong["email"] = fault
    elif db.exec(select(Staff.id).where(Staff.email == email, col(Staff.ended_at).is_(None))).first():
        wrong["email"] = "Someone with this e-mail address already works here."
    wrong |= place_faults(db, roles, clinics)
    if wrong:
        raise BadInput("The invitation needs another look.", wrong)
    close_links(db, email)
    roles = in_order(roles)
    token = _link(db, purpose="invitation", by=by, email=email, name=name, roles=roles, clinics=sorted(set(clinics)))
    journal.write(db, "invited", by=by.staff_id if by else None, facts={"roles": roles, "clinics": clinics})
    return token


def withdraw_invitation(db: Session, *, by: Viewer, email: str) -> None:
    """The link that was given to this address stops working."""
    if not close_links(db, email.strip().lower()):
        raise NotFound("There is no open invitation for this e-mail address.")
    journal.write(db, "invitation_withdrawn", by=by.staff_id)


def password_link(db: Session, *, by: Viewer | None, staff_id: int) -> str:
    """The secret of a single-use link on which somebody who works here chooses a new password."""
    staff = here_now(db, staff_id)
    close_links(db, staff.email)
    token = _link(db, purpose="password", by=by, email=staff.email, name=staff.name)
    journal.write(db, "password_link_made", by=by.staff_id if by else None, subject="staff", subject_id=staff_id)
    return token


def accept(db: Session, passwords: Passwords, *, token: str, password: str) -> int:
    """Uses an invitation, or a link for a new password; returns the person's id. A new password ends old sessions."""
    link = find_link(db, token, "invitation", "password")
    link.used_at = clock.now()
    if link.purpose == "password":
        return _change_password(db, passwords, link, password)
    staff_id = join(
        db,
        passwords,
        name=link.name,
        email=link.email,
        password=password,
        roles=link.roles,
        clinics=link.clinics,
    )
    journal.write(db, "joined", by=staff_id, subject="staff", subject_id=staff_id)
    return staff_id


def _change_password(db: Session, passwords: Passwords, link: Link, password: str) -> int:
    staff = db.exec(select(Staff).where(Staff.email == link.email).with_for_update()).one()
    staff.password = fresh_password(db, passwords, name=staff.name, email=staff.email, password=password)
    end_sessions(db, staff.id)
    journal.write(db, "password_changed", by=staff.id, subject="staff", subject_id=staff.id)
    return staff.id
