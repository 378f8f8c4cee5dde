"""What a wearer told of pain and comfort, before a pair was worn and at its reviews."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlmodel import Session, col

from app.fitting.rules.outcome import Told
from app.fitting.tables import FitCheck, Review, WearingPlan


def told(db: Session, pair_id: int, zone: str) -> list[Told]:
    """Before, as it was told at the pair's first dispensing that holds, then each review that was held."""
    first = (
        select(col(WearingPlan.from_day), col(FitCheck.pain), col(FitCheck.comfort))
        .join(FitCheck, col(FitCheck.move_id) == col(WearingPlan.move_id), isouter=True)
        .where(col(WearingPlan.pair_id) == pair_id, col(WearingPlan.void).is_(False))
        .order_by(col(WearingPlan.id))
        .limit(1)
    )
    before = db.execute(first).first()
    if before is None:
        return []
    held = (
        select(col(Review.number), col(Review.held_at), col(Review.pain), col(Review.comfort), col(Review.pain_relief))
        .where(col(Review.pair_id) == pair_id, col(Review.state) == "held", col(Review.held_at).is_not(None))
        .order_by(col(Review.number))
    )
    rows = db.execute(held).all()
    return [Told("Before", *before), *(Told(f"Review {number}", _day(at, zone), *said) for number, at, *said in rows)]


def _day(at: datetime, zone: str) -> date:
    return at.astimezone(ZoneInfo(zone)).date()
