"""What a person signs on with at a tablet of the bench: the badge that a manager gives out, the PIN of one's own."""

from sqlmodel import Session

from app import clock
from app.errors import BadInput, NotFound, Unready
from app.journal import actions as journal
from app.people.actions.passwords import Passwords
from app.people.actions.staff import here_now, void_badges
from app.people.actions.stations import end_sign_ons
from app.people.permissions import RIGHTS
from app.people.rules import SignedOffBy, Viewer, hash_of, new_badge, pin_fault
from app.people.tables import Badge, Staff


def make_badge(db: Session, *, by: Viewer, staff_id: int) -> str:
    """The payload of a new badge, to be shown once; an earlier one is void with this transaction."""
    staff = here_now(db, staff_id)
    if not RIGHTS["sign_on"].roles.intersection(staff.roles):
        raise Unready(f"{staff.name} is no technician; only technicians sign on at the bench.")
    replaced = void_badges(db, staff_id)
    payload = new_badge()
    db.add(Badge(staff_id=staff_id, secret_hash=hash_of(payload), made_at=clock.now()))
    if replaced:
        end_sign_ons(db, why=SignedOffBy.BADGE_VOID, staff_id=staff_id)
        journal.write(db, "badge_replaced", by=by.staff_id, subject="staff", subject_id=staff_id)
    else:
        journal.write(db, "badge_made", by=by.staff_id, subject="staff", subject_id=staff_id)
    return payload


def void_badge(db: Session, *, by: Viewer, staff_id: int) -> None:
    """For one that is lost and not to be replaced yet."""
    staff = here_now(db, staff_id)
    if not void_badges(db, staff_id):
        raise NotFound(f"{staff.name} has no badge that works.")
    end_sign_ons(db, why=SignedOffBy.BADGE_VOID, staff_id=staff_id)
    journal.write(db, "badge_void", by=by.staff_id, subject="staff", subject_id=staff_id)


def choose_pin(db: Session, passwords: Passwords, *, by: Viewer, pin: str) -> None:
    """The own one alone: nobody else is to know it."""
    if fault := pin_fault(pin):
        raise BadInput("The PIN needs another look.", {"pin": fault})
    staff = db.get_one(Staff, by.staff_id, with_for_update=True)
    staff.pin = passwords.stored_form(pin)
    end_sign_ons(db, why=SignedOffBy.PIN_CHANGED, staff_id=by.staff_id)
    journal.write(db, "pin_set", by=by.staff_id, subject="staff", subject_id=by.staff_id)


def clear_pin(db: Session, *, by: Viewer, staff_id: int) -> None:
    """For who forgot it: without one nobody signs on, and a new one is chosen like the first."""
    staff = here_now(db, staff_id)
    if staff.pin is None:
        return
    staff.pin = None
    end_sign_ons(db, why=SignedOffBy.PIN_CHANGED, staff_id=staff_id)
    journal.write(db, "pin_cleared", by=by.staff_id, subject="staff", subject_id=staff_id)
