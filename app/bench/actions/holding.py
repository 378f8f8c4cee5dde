"""Holding a lot: no more picks, open pairs that it is in stand still, and each clinic has its list of wearers."""

from dataclasses import replace

from sqlalchemy import insert, select, update
from sqlmodel import Session

from app import clock
from app.bench import queries
from app.bench.actions.moving import move
from app.bench.actions.using import level
from app.bench.queries import Holding, hold_t, lot_hold_t, lot_t, notice_t, pair_t
from app.bench.rules import materials as rules
from app.bench.rules.machine import Asked
from app.errors import BadInput, MovedOn, NotFound, Unready
from app.journal import actions as journal
from app.people.permissions import need
from app.people.rules import Role, Viewer

TICKS = {"told": "lot_told", "returned": "lot_returned"}
"""What a clinic notes of a wearer, and the kind of entry that it writes."""


def hold_lot(db: Session, *, lot_id: int, reason: str, by: Viewer) -> list[str]:
    """Holds a lot; returns the codes of the pairs that stand still for it. All of it is one transaction.

    Pairs are locked before the lot, as the acts do that use it; one that came to hold it meanwhile answers 409.
    """
    need(by, "hold_lot")
    words = rules.read_reason(reason, "the lot is held")
    there = queries.pairs_with_lot(db, lot_id, lock=True)
    lot = queries.lot(db, lot_id, lock=True)
    if lot.held:
        raise Unready(f"Lot {lot.number} is held already.")
    if queries.pairs_with_lot(db, lot_id) != there:
        raise MovedOn(f"Lot {lot.number} was noted on a pair this very moment; hold it once more.")
    at, note = clock.now(), journal.keep_words(db, words, None)
    row = {"lot_id": lot_id, "held_at": at, "held_by": by.staff_id, "note_id": note.id}
    hold_id: int = db.execute(insert(lot_hold_t).values(row).returning(lot_hold_t.c.id)).scalar_one()
    db.execute(update(lot_t).where(lot_t.c.id == lot_id).values(held=True))
    level(db, {lot.material_id})
    said = f"Lot {lot.number} of {lot.name}: {words}"
    parked = {each.pair_id: _park(db, each, said, by) for each in there if each.stage}
    if there:
        db.execute(
            insert(notice_t),
            [{"hold_id": hold_id, "pair_id": each.pair_id, "parked_by": parked.get(each.pair_id)} for each in there],
        )
    facts = {"hold": hold_id, "pairs": len(there), "parked": len(parked)}
    journal.write(db, "lot_held", by=by.staff_id, subject="lot", subject_id=lot_id, facts=facts, note=note)
    return [each.code for each in there if each.stage]


def _park(db: Session, pair: Holding, words: str, by: Viewer) -> int:
    """Wherever the pair is, at a bench, on its way or worn: whoever holds the lot stops it in everyone's place."""
    clinic_id = db.execute(select(pair_t.c.clinic_id).where(pair_t.c.id == pair.pair_id)).scalar_one()
    everyone = replace(by, roles=frozenset(Role), clinics=by.clinics | {clinic_id})
    asked = Asked("park", pair.stage, reason=rules.HELD, waiting_on="lab", facts={"words": words})
    return move(db, code=pair.code, asked=asked, by=everyone).move_id


def lift(db: Session, *, lot_id: int, reason: str, by: Viewer) -> list[str]:
    """The lot may be used again. Returns the codes of the pairs that stand still for it: none goes on by itself."""
    need(by, "hold_lot")
    words = rules.read_reason(reason, "the lot is no longer held")
    lot = queries.lot(db, lot_id, lock=True)
    if not lot.held:
        raise Unready(f"Lot {lot.number} is not held.")
    held = queries.holds_of_lot(db, lot_id)[0]
    note = journal.keep_words(db, words, None)
    lifted = {"lifted_at": clock.now(), "lifted_by": by.staff_id, "lifted_note_id": note.id}
    db.execute(update(lot_hold_t).where(lot_hold_t.c.id == held.id).values(lifted))
    db.execute(update(lot_t).where(lot_t.c.id == lot_id).values(held=False))
    level(db, {lot.material_id})
    codes = [code for code, _ in still_parked(db, held.id)]
    facts = {"hold": held.id, "parked": len(codes)}
    journal.write(db, "lot_lifted", by=by.staff_id, subject="lot", subject_id=lot_id, facts=facts, note=note)
    return codes


def still_parked(db: Session, hold_id: int) -> list[tuple[str, int]]:
    """Pairs that stand still for this hold of a lot, by code, with the number of what stops each."""
    query = (
        select(pair_t.c.code, hold_t.c.id)
        .join(hold_t, hold_t.c.id == notice_t.c.parked_by)
        .join(pair_t, pair_t.c.id == notice_t.c.pair_id)
        .where(notice_t.c.hold_id == hold_id, hold_t.c.closed_by.is_(None))
        .order_by(pair_t.c.code)
    )
    return [(row.code, row.id) for row in db.execute(query)]


def resume_pairs(db: Session, *, lot_id: int, by: Viewer) -> list[str]:
    """Once the lot is no longer held: every pair that still stands still for it goes on, or for what else stops it."""
    need(by, "hold_lot")
    lot = queries.lot(db, lot_id)
    holds = queries.holds_of_lot(db, lot_id)
    if lot.held or not holds:
        raise Unready(f"Lot {lot.number} is held; lift the hold first." if lot.held else "This lot was never held.")
    gone_on = []
    for code, number in still_parked(db, holds[0].id):
        state = queries.find(db, code, by, lock=True).state
        move(db, code=code, asked=Asked("resume", state.stage, facts={"holds": [number]}), by=by)
        gone_on.append(code)
    return gone_on


def tick(db: Session, *, hold_id: int, pair_id: int, what: str, by: Viewer) -> str:
    """The clinic has told the wearer, or has the pair back; what is noted already writes nothing. Returns the code."""
    if what not in TICKS:
        raise BadInput("It is noted that a wearer was told, or that the pair was returned.")
    mine = (notice_t.c.hold_id == hold_id, notice_t.c.pair_id == pair_id)
    query = select(notice_t, pair_t.c.code, pair_t.c.clinic_id).join(pair_t, pair_t.c.id == notice_t.c.pair_id)
    row = db.execute(query.where(*mine).with_for_update(of=notice_t)).mappings().first()
    if row is None or not queries.sees(by, row["clinic_id"]):
        raise NotFound("This pair has no held lot in it, as far as you can see.")
    need(by, "tell_of_lot", row["clinic_id"])
    if row[f"{what}_at"] is None:
        db.execute(update(notice_t).where(*mine).values({f"{what}_at": clock.now(), f"{what}_by": by.staff_id}))
        journal.write(db, TICKS[what], by=by.staff_id, subject="pair", subject_id=pair_id, facts={"hold": hold_id})
    return str(row["code"])
