"""Reading positives: those that the sides of an order are worked from, and whether one can be pressed over again."""

from datetime import date, datetime
from typing import NamedTuple

from sqlalchemy import select
from sqlmodel import Session, col

from app.capture.tables import Positive, WorkedFrom


class PositiveRow(NamedTuple):
    side: str
    made_at: datetime
    shelf: str
    kept_until: date | None
    state: str

    def kept(self, today: date) -> bool:
        return self.state == "intact" and (self.kept_until is None or self.kept_until >= today)


def of_order(db: Session, order_id: int) -> dict[str, PositiveRow]:
    """By side, left before right; a side without one is left out: none was made, or none was written down."""
    columns = (Positive.side, Positive.made_at, Positive.shelf, Positive.kept_until, Positive.state)
    rows = db.execute(
        select(*(col(each) for each in columns))
        .join(WorkedFrom, col(WorkedFrom.positive_id) == col(Positive.id))
        .where(col(WorkedFrom.order_id) == order_id)
        .order_by(col(Positive.side))
    )
    return {row[0]: PositiveRow(*row) for row in rows}
