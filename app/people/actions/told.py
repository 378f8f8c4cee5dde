"""What a person chooses to be told of by mail, and the secret address of the own calendar."""

from collections.abc import Collection

from sqlmodel import Session

from app import clock
from app.errors import BadInput, NotAllowed
from app.journal import actions as journal
from app.people.queries import told
from app.people.rules import DIGEST_HOURS, SUBJECTS, Viewer, hash_of, new_token
from app.people.tables import CalendarFeed, Staff, ToldOf


def choose_told(db: Session, *, by: Viewer, wanted: Collection[str], hour: int) -> None:
    """Of the subjects that are for the own roles; what is already so writes nothing."""
    db.get_one(Staff, by.staff_id, with_for_update=True)  # one choice of a person at a time
    was = told.choices(db, by.staff_id)
    wrong = {}
    if any(subject not in was.subjects for subject in wanted):
        wrong["wanted"] = "One of these is not for your roles; choose from the list."
    if hour not in DIGEST_HOURS:
        wrong["hour"] = f"The digest goes out at an hour from {DIGEST_HOURS[0]}:00 to {DIGEST_HOURS[-1]}:00."
    if wrong:
        raise BadInput("What you are told needs another look.", wrong)
    facts: dict[str, list[bool | int]] = {}
    for subject in was.subjects:
        before, after = subject in was.wanted, subject in wanted
        if before is not after:
            facts[subject] = [before, after]
            _keep(db, by.staff_id, subject, after)
    if hour != was.hour and "digest" in was.subjects:
        facts["hour"] = [was.hour, hour]
        row = db.get(ToldOf, (by.staff_id, "digest")) or _keep(db, by.staff_id, "digest", "digest" in wanted)
        row.hour = hour
    if facts:
        journal.write(db, "told_chosen", by=by.staff_id, subject="staff", subject_id=by.staff_id, facts=facts)


def _keep(db: Session, staff_id: int, subject: str, wanted: bool) -> ToldOf:
    row = db.get(ToldOf, (staff_id, subject))
    if row is None:
        row = ToldOf(staff_id=staff_id, subject=subject, wanted=SUBJECTS[subject].usual, since=clock.now())
        db.add(row)
    row.wanted, row.since = wanted, clock.now()
    return row


def make_calendar(db: Session, *, by: Viewer) -> str:
    """The secret of a new address, to be shown once; an earlier one leads nowhere with this transaction."""
    if not told.has_calendar(by.roles):
        raise NotAllowed("A calendar holds reviews; those are the clinicians'.")
    db.get_one(Staff, by.staff_id, with_for_update=True)
    secret = new_token()
    row = db.get(CalendarFeed, by.staff_id) or CalendarFeed(staff_id=by.staff_id, secret_hash="", made_at=clock.now())
    row.secret_hash, row.made_at = hash_of(secret), clock.now()
    db.add(row)
    journal.write(db, "calendar_made", by=by.staff_id, subject="staff", subject_id=by.staff_id)
    return secret


def end_calendar(db: Session, *, by: Viewer) -> None:
    row = db.get(CalendarFeed, by.staff_id, with_for_update=True)
    if row is not None:
        db.delete(row)
        journal.write(db, "calendar_ended", by=by.staff_id, subject="staff", subject_id=by.staff_id)
