"""What a lot's use leaves behind: noted with the act that used it, scrapped when a side is made again, taken back."""

from collections.abc import Collection
from datetime import datetime
from typing import Any

from sqlalchemy import case, delete, func, insert, literal, select, update
from sqlmodel import Session

from app import clock
from app.bench import queries
from app.bench.queries import Loaded, hold_t, lot_t, material_t, use_t
from app.bench.rules import materials as rules
from app.bench.rules.machine import Asked, Outcome
from app.errors import NotAllowed
from app.orders import queries as orders
from app.people.permissions import may
from app.people.rules import Viewer


def follow(
    db: Session, loaded: Loaded, asked: Asked, outcome: Outcome, move_id: int, done_at: datetime, by: Viewer
) -> None:
    """What an act means for the lots in a pair; called for every act, after its move is written."""
    before = loaded.state
    if asked.act == "advance":
        if asked.facts.get("lots"):
            _use(db, loaded, asked, outcome, move_id, done_at, by)
    elif asked.act == "send_back":
        gone = before.route[before.route.index(str(asked.to_stage)) :]
        _scrap(db, loaded.row["id"], outcome.sides, move_id, done_at, use_t.c.stage.in_(gone))
    elif asked.act == "recapture":
        _scrap(db, loaded.row["id"], outcome.sides, move_id, done_at)


def _use(
    db: Session, loaded: Loaded, asked: Asked, outcome: Outcome, move_id: int, done_at: datetime, by: Viewer
) -> None:
    """Notes the lots on the sides that they fit, and counts the stock down. What was there of a kind is replaced."""
    row, route, after = loaded.row, outcome.state.route, str(outcome.to_stage)
    ids = rules.read_ids(asked.facts["lots"])
    lots = queries.lots(db, ids, lock=True)
    body, _ = orders.for_the_bench(db, row["order_id"])
    done = route[route.index(str(asked.from_stage)) : route.index(after)]
    used = rules.went_in(ids, lots, done, body, outcome.sides, clock.today(by.zone))
    for kind in {lot.kind for lot, _ in used}:
        sides = "".join(mine for lot, mine in used if lot.kind == kind)
        same = select(lot_t.c.id).join(material_t, material_t.c.id == lot_t.c.material_id)
        _scrap(db, row["id"], sides, move_id, done_at, use_t.c.lot_id.in_(same.where(material_t.c.kind == kind)))
    db.execute(
        insert(use_t),
        [
            {
                "lot_id": lot.id,
                "pair_id": row["id"],
                "side": side,
                "stage": rules.KINDS[lot.kind].stage,
                "move_id": move_id,
                "amount": lot.per_side,
                "at": done_at,
                "staff_id": by.staff_id,
            }
            for lot, sides in used
            for side in sides
        ],
    )
    for lot, sides in used:
        left = {"stock": lot_t.c.stock - lot.per_side * len(sides), "last_used_at": done_at}
        db.execute(update(lot_t).where(lot_t.c.id == lot.id).values(left))
    level(db, {lot.material_id for lot, _ in used})


def _scrap(db: Session, pair_id: int, sides: str, move_id: int, at: datetime, *which: Any) -> None:
    """The work of these sides is no longer in the device; it stays listed."""
    standing = (use_t.c.pair_id == pair_id, use_t.c.side.in_(list(sides)), use_t.c.scrapped_at.is_(None), *which)
    db.execute(update(use_t).where(*standing).values(scrapped_at=at, scrapped_by=move_id))


def undo(db: Session, pair_id: int, move_id: int) -> None:
    """The act of this move never was: what it used is in stock again, what it scrapped is in the device."""
    touched = (use_t.c.move_id == move_id) | (use_t.c.scrapped_by == move_id)
    rows = db.execute(select(use_t).where(use_t.c.pair_id == pair_id, touched)).mappings().all()
    if not rows:
        return
    back: dict[int, int] = {}
    for row in rows:
        if row["move_id"] == move_id:
            back[row["lot_id"]] = back.get(row["lot_id"], 0) + row["amount"]
    db.execute(delete(use_t).where(use_t.c.pair_id == pair_id, use_t.c.move_id == move_id))
    again = update(use_t).where(use_t.c.pair_id == pair_id, use_t.c.scrapped_by == move_id)
    db.execute(again.values(scrapped_at=None, scrapped_by=None))
    lots = queries.lots(db, list(back), lock=True) if back else []
    for lot in lots:
        db.execute(update(lot_t).where(lot_t.c.id == lot.id).values(stock=lot_t.c.stock + back[lot.id]))
    level(db, {lot.material_id for lot in lots})


def carry(db: Session, *, old: int, new: int, sides: str, move_id: int) -> None:
    """A side that is carried along to a new pair takes its lots with it; the stock has given them before."""
    if not sides:
        return
    kept = ("lot_id", "side", "stage", "at", "staff_id")
    was = select(*(use_t.c[name] for name in kept), literal(new), literal(move_id), literal(0)).where(
        use_t.c.pair_id == old, use_t.c.side.in_(list(sides)), use_t.c.scrapped_at.is_(None)
    )
    db.execute(insert(use_t).from_select([*kept, "pair_id", "move_id", "amount"], was))


def level(db: Session, material_ids: set[int]) -> None:
    """Notes since when there is little of these materials, or that there is enough again."""
    if not material_ids:
        return
    stock = func.coalesce(func.sum(lot_t.c.stock), 0)
    mine = (lot_t.c.material_id == material_t.c.id, lot_t.c.stock > 0, lot_t.c.held.is_(False))
    total = select(stock).where(*mine).scalar_subquery()
    since = func.coalesce(material_t.c.low_since, literal(clock.now(), material_t.c.low_since.type))
    little = case((material_t.c.low > total, since), else_=None)
    db.execute(update(material_t).where(material_t.c.id.in_(material_ids)).values(low_since=little))


def let_go_on(db: Session, loaded: Loaded, closes: Collection[int], by: Viewer) -> None:
    """While a lot in the pair is held, only who may hold lots lets it go on; `closes` are the reasons that end."""
    if not closes or may(by, "hold_lot"):
        return
    stopped = select(hold_t.c.id).where(hold_t.c.id.in_(closes), hold_t.c.reason == rules.HELD)
    if db.execute(stopped).first() and (held := queries.held_lots_of(db, loaded.row["id"])):
        raise NotAllowed(
            f"Lot {held[0]} in {loaded.state.code} is held. A manager lets the pair go on; or the side is sent back "
            "and made from another lot."
        )
