"""Telling the wearer, booking, and noting who did not come; giving up on a pair that is never collected."""

from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app import clock
from app.bench import actions as bench
from app.bench import queries as pairs
from app.bench.actions import Moved
from app.bench.rules.machine import Asked
from app.fitting import queries
from app.fitting.actions.common import act, day_of, standing
from app.fitting.queries import together
from app.fitting.queries.together import Beside
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
    """`facts`: `at` (an ISO instant) and `what`: the fitting, or during wearing in the review.

    `also` are codes of the wearer's other pairs that are reviewed at the same appointment: each gets its own move.
    """
    others = _held_together(db, code, by)
    loaded = standing(db, code, asked, by)
    wrong: dict[str, str] = {}
    what = contact.read_what(asked.facts.get("what"), loaded.state.stage, wrong)
    at = contact.read_instant(asked.facts.get("at"), people.lab(db).zone, clock.now(), wrong)
    also = contact.read_also(asked.facts.get("also"), others if what == "review" else [], wrong)
    due = queries.open_review(db, loaded.row["id"]) if what == "review" else None
    if what == "review" and due is None and not wrong:
        wrong["what"] = "No review is open on this pair; keep wearing sets one."
    review.fail(wrong, "The appointment needs another look.")
    changes = {"fitting_at": at} if what == "fitting" else None
    asked = replace(asked, facts={"at": at.isoformat() if at else "", "what": what})
    moved = act(db, code, asked, by, done_at, changes=changes)
    _keep(db, moved, due, by, done_at, kind="booked", what=what, appointment=at)
    for each in also:
        _same_for(db, others[each], asked, by, done_at, kind="booked", appointment=at)
    return moved


def no_show(db: Session, *, code: str, asked: Asked, by: Viewer, done_at: datetime | None = None) -> Moved:
    """The wearer did not come: the appointment is gone, and it counts as an attempt.

    Other pairs of the wearer that were to be reviewed at the same appointment are told so by moves of their own.
    """
    others = _held_together(db, code, by)
    loaded = standing(db, code, asked, by)
    wrong: dict[str, str] = {}
    what = contact.read_what(asked.facts.get("what"), loaded.state.stage, wrong)
    due = queries.open_review(db, loaded.row["id"]) if what == "review" else None
    booked = due.appointment if due else loaded.row["fitting_at"] if what == "fitting" else None
    if booked and booked > clock.now():
        wrong["what"] = f"The {what} is still to come; book it anew if the wearer called it off."
    review.fail(wrong, "This needs another look.")
    changes = {"fitting_at": None} if what == "fitting" else None
    asked = replace(asked, facts={**asked.facts, "what": what})
    moved = act(db, code, asked, by, done_at, changes=changes)
    _keep(db, moved, due, by, done_at, kind="no_show", what=what, appointment=booked)
    for each in others.values():
        if what == "review" and booked and each.appointment == booked:
            _same_for(db, each, asked, by, done_at, kind="no_show", appointment=booked)
    return moved


def _held_together(db: Session, code: str, by: Viewer) -> dict[str, Beside]:
    """The wearer's other pairs that are open for review, by code, all of them locked in the order of their codes."""
    loaded = pairs.find(db, code, by)
    if not (others := together.open_for_review(db, loaded.row["id"])):
        return {}
    for each in sorted([loaded.state.code, *(other.code for other in others)]):
        pairs.find(db, each, by, lock=True)
    # What was changed until the last of them was locked is read anew.
    return {each.code: each for each in together.open_for_review(db, loaded.row["id"])}


def _same_for(db: Session, pair: Beside, asked: Asked, by: Viewer, done_at: datetime | None, **values: Any) -> None:
    """The act on another pair of the appointment; whoever asks has seen the stage and version of the first alone."""
    own = replace(asked, from_stage="wear_in", version=None, ticket=None)
    moved = act(db, pair.code, own, by, done_at)
    _keep(db, moved, queries.open_review(db, pair.pair_id), by, done_at, what="review", **values)


def _keep(
    db: Session, moved: Moved, due: Review | None, by: Viewer, done_at: datetime | None, kind: str, **values: Any
) -> None:
    """The review's appointment, if it is about one, and the word between clinic and wearer."""
    if due is not None:
        _book_review(db, due, values["appointment"] if kind == "booked" else None)
    _contact(db, moved, by, done_at, kind=kind, **values)


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
