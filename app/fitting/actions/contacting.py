"""Telling the wearer, booking, and noting who did not come; giving up on a pair that is never collected."""

from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app import clock
from app.bench import actions as bench
from app.bench.actions import Moved
from app.bench.rules.machine import Asked
from app.fitting import queries
from app.fitting.actions.common import act, day_of, standing
from app.fitting.rules import contact, review
from app.fitting.tables import Contact, Review
from app.people import queries as people
from app.people.rules import Viewer


def tell(db: Session, *, code: str, asked: Asked, by: Viewer, done_at: datetime | None = None) -> Moved:
    """`facts`: `how`, and `who` was told; by whom and when the act says itself."""
    standing(db, code, asked, by)
    wrong: dict[str, str] = {}
    how, who = contact.read_telling(asked.facts, wrong)
    review.fail(wrong, "Telling the wearer needs another look.")
    moved = act(db, code, asked, by, done_at)
    _contact(db, moved, by, done_at, kind="told", how=how, who=who)
    return moved


def book(db: Session, *, code: str, asked: Asked, by: Viewer, done_at: datetime | None = None) -> Moved:
    """`facts`: `at` (an ISO instant) and `what`: the fitting, or during wearing in the review."""
    loaded = standing(db, code, asked, by)
    wrong: dict[str, str] = {}
    what = contact.read_what(asked.facts.get("what"), loaded.state.stage, wrong)
    at = contact.read_instant(asked.facts.get("at"), people.lab(db).zone, clock.now(), wrong)
    due = queries.open_review(db, loaded.row["id"]) if what == "review" else None
    if what == "review" and due is None and not wrong:
        wrong["what"] = "No review is open on this pair; keep wearing sets one."
    review.fail(wrong, "The appointment needs another look.")
    changes = {"fitting_at": at} if what == "fitting" else None
    asked = replace(asked, facts={"at": at.isoformat() if at else "", "what": what})
    moved = act(db, code, asked, by, done_at, changes=changes)
    if due is not None:
        _book_review(db, due, at)
    _contact(db, moved, by, done_at, kind="booked", what=what, appointment=at)
    return moved


def no_show(db: Session, *, code: str, asked: Asked, by: Viewer, done_at: datetime | None = None) -> Moved:
    """The wearer did not come: the appointment is gone, and it counts as an attempt."""
    loaded = standing(db, code, asked, by)
    wrong: dict[str, str] = {}
    what = contact.read_what(asked.facts.get("what"), loaded.state.stage, wrong)
    due = queries.open_review(db, loaded.row["id"]) if what == "review" else None
    booked = due.appointment if due else loaded.row["fitting_at"] if what == "fitting" else None
    if booked and booked > clock.now():
        wrong["what"] = f"The {what} is still to come; book it anew if the wearer called it off."
    review.fail(wrong, "This needs another look.")
    changes = {"fitting_at": None} if what == "fitting" else None
    moved = act(db, code, asked, by, done_at, dropped=("what",), changes=changes, extra={"what": what})
    if due is not None:
        _book_review(db, due, None)
    _contact(db, moved, by, done_at, kind="no_show", what=what, appointment=booked)
    return moved


def _book_review(db: Session, due: Review, at: datetime | None) -> None:
    """Wearing in is worked by the day of the appointment, or without one by the day the review is due."""
    due.appointment = at
    db.add(due)
    bench.work_by(db, due.pair_id, day_of(db, at) if at else due.due_on)


def _contact(db: Session, moved: Moved, by: Viewer, done_at: datetime | None, **values: Any) -> None:
    at = done_at or clock.now()
    db.add(Contact(pair_id=moved.pair_id, move_id=moved.move_id, staff_id=by.staff_id, at=at, **values))
    db.flush()


def uncollected(db: Session, *, code: str, asked: Asked, by: Viewer, done_at: datetime | None = None) -> Moved:
    loaded = standing(db, code, asked, by)
    row, days = loaded.row, people.limit(db, "uncollected_after_days") or contact.UNCOLLECTED_AFTER_DAYS
    told = queries.first_told(db, row["id"], row["since"])
    contact.check_uncollected(loaded.state.code, told, clock.now(), int(days))
    return act(db, code, asked, by, done_at)
