"""What lies in stock that somebody should look at; of the lab as a whole, for no clinic is it of any use."""

from collections.abc import Iterator
from datetime import timedelta

from sqlalchemy import func, select
from sqlmodel import Session

from app.bench.queries import lot_t, material_t
from app.bench.rules.materials import amount_words
from app.watch.queries.scope import Scope, Subject
from app.watch.rules import facts
from app.watch.rules.limits import Moment

_LEFT = lot_t.c.stock > 0


def stock(db: Session, scope: Scope, at: Moment) -> Iterator[tuple[facts.Little | facts.Expired, Subject]]:
    """Each with the lot that the flag is about: of a material of which there is little, the last that came."""
    lots = scope.lots()
    if lots is None:
        return
    good = _LEFT & lot_t.c.held.is_(False) & (lot_t.c.expires_on.is_(None) | (lot_t.c.expires_on >= at.today))
    gone = _LEFT & (lot_t.c.expires_on < at.today)
    last, there = func.max(lot_t.c.id), func.coalesce(func.sum(lot_t.c.stock).filter(good), 0)
    of = material_t.c
    query = (
        select(of.name, of.unit, of.low, of.low_since, last, there, func.max(lot_t.c.expires_on).filter(gone))
        .join(lot_t, lot_t.c.material_id == of.id)
        .where(of.low > 0)
        .group_by(of.id)
        .having(there < of.low)
    )
    for name, unit, low, since, lot, left, expired_on in db.execute(query):
        if scope.lot_id in (None, lot):
            begun = since or at.start_of(expired_on + timedelta(days=1))
            yield facts.Little(lot, name, amount_words(left, unit), amount_words(low, unit), begun), _subject(name)
    expired = (
        select(lot_t.c.id, lot_t.c.number, of.name, lot_t.c.stock, of.unit, lot_t.c.expires_on)
        .join(material_t, of.id == lot_t.c.material_id)
        .where(gone, *lots)
    )
    for lot, number, name, left, unit, expires_on in db.execute(expired):
        yield facts.Expired(lot, number, name, amount_words(left, unit), expires_on), _subject(name)


def _subject(material: str) -> Subject:
    return Subject(None, material, None, "")
