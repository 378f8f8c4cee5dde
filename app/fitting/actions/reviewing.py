"""The review and what waits for it: adjust, keep wearing, settle, wishes, rechecks, and every way out of wearing in."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import update
from sqlmodel import Session, col

from app import clock, outbox
from app.bench import queries as pairs
from app.bench.actions import Moved
from app.bench.queries import Loaded
from app.bench.rules.machine import Asked
from app.bench.tables import Move
from app.errors import NotFound
from app.fitting import queries
from app.fitting.actions.at_home import clear
from app.fitting.actions.common import act, day_of, end_plan, mark_painful, next_review, read_painful, standing
from app.fitting.queries import at_home
from app.fitting.rules import contact, review
from app.fitting.tables import Adjustment, Recheck, Review, Wish
from app.journal import actions as journal
from app.orders.tables import Patient
from app.people import queries as people
from app.people.permissions import need
from app.people.rules import Viewer


def adjust(db: Session, *, code: str, asked: Asked, by: Viewer, done_at: datetime | None = None) -> Moved:
    """Here: what was done, by side and zone, and a new review, in one act. At the lab: a visit of the named stages.

    Refused before the review's day, unless a red flag was noted or `reason` overrides.
    """
    loaded = standing(db, code, asked, by)
    wrong: dict[str, str] = {}
    where, sides = asked.facts.get("where"), str(asked.sides)
    found = _read_review(db, loaded, asked, wrong)
    done = review.read_done(asked.facts.get("zones") or [], sides, wrong) if where == "here" else []
    if where == "lab":
        review.read_stages(asked.facts.get("stages"), wrong)
    elif where != "here":
        wrong["where"] = "Say where: 'here', or 'lab' with the stages it needs."
    review.fail(wrong, "The adjustment needs another look.")
    due = queries.open_review(db, loaded.row["id"])
    flags = [flag for wish in queries.open_wishes(db, loaded.row["id"]) for flag in wish.red_flags]
    flags += ["skin"] if at_home.red_flag_since(db, loaded.row["id"]) else []
    zone = people.lab(db).zone
    day = queries.review_day(due, zone) if due else None
    review.check_day(loaded.state.code, clock.today(zone), day, flags, asked.reason or "")
    # The next fitting has a day of its own, and the lab promises it anew.
    changes = {"fitting_at": None, "promised_on": None} if where == "lab" else None
    moved = act(db, code, asked, by, done_at, dropped=("zones", "review"), changes=changes)
    note_id = _hold_review(db, moved, f"adjust_{where}", found)
    db.add_all(
        Adjustment(pair_id=moved.pair_id, move_id=moved.move_id, note_id=note_id, **each._asdict()) for each in done
    )
    if where == "here":
        next_review(db, moved, db.get_one(Patient, loaded.row["patient_id"]), day_of(db, done_at))
    else:
        end_plan(db, moved.pair_id)
    db.flush()
    return moved


def keep_wearing(db: Session, *, code: str, asked: Asked, by: Viewer, done_at: datetime | None = None) -> Moved:
    """The review is held and the next one set; the plan goes on."""
    loaded, found, asked = _at_review(db, code, asked, by)
    moved = act(db, code, asked, by, done_at, dropped=("review",))
    _hold_review(db, moved, "keep_wearing", found)
    next_review(db, moved, db.get_one(Patient, loaded.row["patient_id"]), day_of(db, done_at))
    return moved


def settle(db: Session, *, code: str, asked: Asked, by: Viewer, done_at: datetime | None = None) -> Moved:
    """The review is held with its answers, all of them optional, and the pair has found its wearer."""
    _, found, asked = _at_review(db, code, asked, by)
    moved = act(db, code, asked, by, done_at, dropped=("review",))
    _hold_review(db, moved, "settle", found)
    end_plan(db, moved.pair_id)
    return moved


def note_request(db: Session, *, code: str, asked: Asked, by: Viewer, done_at: datetime | None = None) -> Moved:
    """A wish for an adjustment waits for the review; `red_flags` make it urgent, `painful` days hold the hours."""
    loaded = standing(db, code, asked, by)
    wrong: dict[str, str] = {}
    flags = review.read_red_flags(asked.facts.get("red_flags"), wrong)
    painful = read_painful(db, loaded, asked.facts.get("painful"), "painful", wrong)
    review.fail(wrong, "The wish needs another look.")
    moved = act(db, code, asked, by, done_at, dropped=("painful",))
    db.add(Wish(pair_id=moved.pair_id, move_id=moved.move_id, noted_at=clock.now(), red_flags=flags))
    if flags:
        outbox.put(db, "red_flag_noted", {"pair": moved.pair_id})
    mark_painful(db, moved.pair_id, painful)
    db.flush()
    return moved


def close(db: Session, *, code: str, asked: Asked, by: Viewer, done_at: datetime | None = None) -> Moved:
    """Ends wearing in without a review, once the wearer was tried to be reached often enough."""
    loaded = standing(db, code, asked, by)
    wanted = int(people.limit(db, "close_after_attempts") or contact.CLOSE_AFTER_ATTEMPTS)
    contact.check_attempts(loaded.state.code, queries.attempts(db, loaded.row["id"]), wanted)
    moved = act(db, code, asked, by, done_at)
    stop_wearing(db, moved, "close")
    return moved


def refurbish(db: Session, *, code: str, asked: Asked, by: Viewer, done_at: datetime | None = None) -> Moved:
    """A visit of its own, which the lab promises anew; a pair that was still being worn in is reviewed no more."""
    moved = act(db, code, asked, by, done_at, changes={"fitting_at": None, "promised_on": None})
    stop_wearing(db, moved, "refurbish")
    return moved


def withdraw(db: Session, *, code: str, asked: Asked, by: Viewer, done_at: datetime | None = None) -> Moved:
    moved = act(db, code, asked, by, done_at)
    stop_wearing(db, moved, "withdraw")
    return moved


def reopen(db: Session, *, code: str, asked: Asked, by: Viewer, done_at: datetime | None = None) -> Moved:
    """A pair that goes back to wearing in is reviewed again."""
    moved = act(db, code, asked, by, done_at)
    if moved.state.stage == "wear_in":
        patient_id = pairs.find_by_id(db, moved.pair_id).row["patient_id"]
        next_review(db, moved, db.get_one(Patient, patient_id), day_of(db, done_at))
    return moved


def stop_wearing(db: Session, moved: Moved, outcome: str) -> None:
    """The pair has left wearing in by `outcome` (remake, refurbish, withdraw, close): plan, review and rechecks end.

    A remake is a review's outcome; the others leave it void. A pair that was not being worn in has none of these.
    """
    if outcome == "remake":
        _hold_review(db, moved, outcome, {})
    db.execute(
        update(Review)
        .where(col(Review.pair_id) == moved.pair_id, col(Review.state) == "open")
        .values(state="void", outcome=outcome)
    )
    if outcome != "refurbish":
        db.execute(
            update(Recheck)
            .where(col(Recheck.pair_id) == moved.pair_id, col(Recheck.state) == "open")
            .values(state="void")
        )
    end_plan(db, moved.pair_id)
    _answer_wishes(db, moved)


def hold_recheck(db: Session, *, recheck_id: int, by: Viewer) -> str:
    """The wearer was seen; answers the pair's code. Seen twice is seen once."""
    recheck = db.get(Recheck, recheck_id) if abs(recheck_id) <= people.LARGEST_ID else None
    if recheck is None:
        raise NotFound("There is no such recheck.")
    loaded = pairs.find_by_id(db, recheck.pair_id)
    need(by, "see_patient", loaded.row["clinic_id"])
    if recheck.state == "open":
        recheck.state = "held"
        db.add(recheck)
        journal.write(db, "recheck_held", by=by.staff_id, subject="patient", subject_id=recheck.patient_id)
    return loaded.state.code


def _at_review(db: Session, code: str, asked: Asked, by: Viewer) -> tuple[Loaded, dict[str, Any], Asked]:
    """A review is of the pair as a whole, whichever sides were typed."""
    loaded = standing(db, code, asked, by)
    wrong: dict[str, str] = {}
    found = _read_review(db, loaded, asked, wrong)
    review.fail(wrong, "The review needs another look.")
    return loaded, found, replace(asked, sides=None)


def _read_review(db: Session, loaded: Loaded, asked: Asked, wrong: dict[str, str]) -> dict[str, Any]:
    raw = asked.facts.get("review")
    found = review.read_review(raw, wrong)
    if isinstance(raw, Mapping) and raw.get("painful"):
        found["painful"] = read_painful(db, loaded, raw["painful"], "review.painful", wrong)
    return found


def _hold_review(db: Session, moved: Moved, outcome: str, found: dict[str, Any]) -> int | None:
    """Closes the open review with what was found and the act's note, and answers the wishes that waited for it."""
    note_id = db.get_one(Move, moved.move_id).note_id
    mark_painful(db, moved.pair_id, found.pop("painful", []))
    due = queries.open_review(db, moved.pair_id)
    if due is not None:
        due.state, due.held_at, due.outcome, due.note_id = "held", clock.now(), outcome, note_id
        for name, value in found.items():
            setattr(due, name, value)
        db.add(due)
    _answer_wishes(db, moved)
    db.flush()
    return note_id


def _answer_wishes(db: Session, moved: Moved) -> None:
    """What waited for a clinician, whether it was wished for or noted by the wearer at home, has been seen."""
    waiting = (col(Wish.pair_id) == moved.pair_id, col(Wish.answered_at).is_(None))
    db.execute(update(Wish).where(*waiting).values(answered_at=clock.now()))
    clear(db, moved.pair_id, db.get_one(Move, moved.move_id).staff_id)
