"""What happens to a positive: made from a capture, put on a shelf, broken, thrown away."""

from collections.abc import Collection
from datetime import date, datetime

from sqlalchemy import delete, update
from sqlmodel import Session, col, select

from app.capture.rules import POSITIVE_STATES
from app.capture.tables import Capture, Positive, WorkedFrom
from app.errors import BadInput, NotFound, Unready
from app.journal import actions as journal
from app.people.rules import Viewer


def make(
    db: Session, *, order_id: int, sides: Collection[str], move_id: int, made_at: datetime, kept_until: date
) -> None:
    """These sides of an order are worked from a new positive each; until somebody says so it stands by its capture."""
    rows = db.execute(
        select(WorkedFrom, Capture.shelf)
        .join(Capture, col(Capture.id) == col(WorkedFrom.capture_id))
        .where(col(WorkedFrom.order_id) == order_id, col(WorkedFrom.side).in_(list(sides)))
    ).all()
    for worked, shelf in rows:
        made = Positive(
            capture_id=worked.capture_id,
            side=worked.side,
            made_at=made_at,
            shelf=shelf,
            kept_until=kept_until,
            move_id=move_id,
        )
        db.add(made)
        db.flush()
        worked.positive_id = made.id
    db.flush()


def unmake(db: Session, *, move_id: int) -> None:
    """The act that made them was taken back. A side that had an earlier positive is worked from that again."""
    for made in db.exec(select(Positive).where(Positive.move_id == move_id)).all():
        before = select(Positive.id).where(Positive.capture_id == made.capture_id, col(Positive.id) < made.id)
        earlier = db.exec(before.order_by(col(Positive.id).desc()).limit(1)).first()
        db.execute(update(WorkedFrom).where(col(WorkedFrom.positive_id) == made.id).values(positive_id=earlier))
        db.execute(delete(Positive).where(col(Positive.id) == made.id))


def put(db: Session, *, order_id: int, side: str, shelf: str) -> None:
    """Where it stands now; as with a capture, who carried it there is not recorded."""
    _standing(db, order_id, side).shelf = shelf.strip()[:20]
    db.flush()


def give_up(db: Session, *, by: Viewer, order_id: int, side: str, state: str) -> None:
    """It is broken or thrown away: nothing more is pressed over it."""
    if state not in POSITIVE_STATES or state == "intact":
        words = "A positive is given up as broken or thrown_away."
        raise BadInput(words, {"state": words})
    positive = _standing(db, order_id, side)
    positive.state = state
    db.flush()
    facts = {"positive": positive.id}
    journal.write(
        db, f"positive_{state}", by=by.staff_id, subject="capture", subject_id=positive.capture_id, facts=facts
    )


def _standing(db: Session, order_id: int, side: str) -> Positive:
    query = (
        select(Positive)
        .join(WorkedFrom, col(WorkedFrom.positive_id) == col(Positive.id))
        .where(WorkedFrom.order_id == order_id, WorkedFrom.side == side)
    )
    positive = db.exec(query.with_for_update(of=Positive)).first()
    if positive is None:
        raise NotFound("No positive of this side was written down.")
    if positive.state != "intact":
        raise Unready(f"This positive is {POSITIVE_STATES[positive.state]} already.")
    return positive
