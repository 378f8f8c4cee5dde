"""Materials and their lots: taken down, changed, counted again, in use; each with its entry in the journal."""

from collections.abc import Mapping
from typing import Any

from sqlalchemy import insert, select, update
from sqlmodel import Session

from app import clock
from app.bench import queries
from app.bench.actions.using import level
from app.bench.queries import lot_t, material_t
from app.bench.rules import materials as rules
from app.errors import BadInput, Unready
from app.journal import actions as journal
from app.people.rules import Viewer


def add(db: Session, *, by: Viewer, typed: Mapping[str, str]) -> int:
    """Takes down a material as the form has it; returns its number."""
    values = rules.read_material(typed)
    _name_is_free(db, values["name"])
    made: int = db.execute(insert(material_t).values(values).returning(material_t.c.id)).scalar_one()
    _journal(db, "material_added", by, made, {name: [None, value] for name, value in values.items() if value})
    return made


def change(db: Session, *, by: Viewer, material_id: int, typed: Mapping[str, str]) -> None:
    """Uses that were noted keep the amount that they were noted with; what is as it was writes nothing."""
    before = queries.material(db, material_id)
    kept = {"kind": before.kind, "unit": before.unit}
    if before.material:
        kept |= {"material": before.material, "thickness": f"{(before.thickness or 0) / 10:g}"}
    values = rules.read_material({**typed, **kept})
    _name_is_free(db, values["name"], material_id)
    changed = {name: [getattr(before, name), new] for name, new in values.items() if getattr(before, name) != new}
    if changed:
        new = {name: pair[1] for name, pair in changed.items()}
        db.execute(update(material_t).where(material_t.c.id == material_id).values(new))
        level(db, {material_id})
        _journal(db, "material_changed", by, material_id, changed)


def _name_is_free(db: Session, name: str, but: int | None = None) -> None:
    others = select(material_t.c.id, material_t.c.name)
    if any(each.name.casefold() == name.casefold() and each.id != but for each in db.execute(others)):
        words = f"There is a material called '{name}' already; add the lot to it."
        raise BadInput(words, {"name": words})


def _journal(db: Session, what: str, by: Viewer, material_id: int, changed: dict[str, list[Any]]) -> None:
    """The name is what somebody typed: it stands in a note."""
    name = changed.pop("name", None)
    note = journal.keep_words(db, f"name: {name[0] or '-'} → {name[1]}", None) if name else None
    facts = {"fields": [*changed, *(["name"] if name else [])]} | changed
    journal.write(db, what, by=by.staff_id, subject="material", subject_id=material_id, facts=facts, note=note)


def add_lot(db: Session, *, by: Viewer, material_id: int, typed: Mapping[str, str]) -> int:
    """Takes down a delivery; returns the lot's number in this house, which its label carries."""
    material = queries.material(db, material_id)
    new = rules.read_lot(typed, clock.today(by.zone))
    key = rules.number_key(new.number)
    if any(rules.number_key(each.number) == key for each in queries.lots_of(db, material_id)):
        words = f"Lot {new.number} of {material.name} is here already; correct its stock instead."
        raise BadInput(words, {"number": words})
    values = new._asdict() | {"material_id": material_id, "number_key": key, "held": False}
    made: int = db.execute(insert(lot_t).values(values).returning(lot_t.c.id)).scalar_one()
    level(db, {material_id})
    facts = {"stock": rules.amount_words(new.stock, material.unit), "material": material_id}
    facts |= {name: day.isoformat() for name in ("received_on", "expires_on") if (day := getattr(new, name))}
    journal.write(db, "lot_added", by=by.staff_id, subject="lot", subject_id=made, facts=facts)
    return made


def correct(db: Session, *, by: Viewer, lot_id: int, typed: Mapping[str, str]) -> None:
    """The stock as it was counted, with the reason; what is as it was writes nothing."""
    lot = queries.lot(db, lot_id, lock=True)
    wrong: dict[str, str] = {}
    stock = rules.read_amount(typed.get("stock", ""), "stock", "What is there", wrong, least=0)
    reason = rules.read_reason(typed.get("reason", ""), "it is corrected", wrong)
    if stock == lot.stock:
        return
    db.execute(update(lot_t).where(lot_t.c.id == lot_id).values(stock=stock))
    level(db, {lot.material_id})
    note = journal.keep_words(db, reason, None)
    facts = {"stock": [rules.amount_words(each, lot.unit) for each in (lot.stock, stock)]}
    journal.write(db, "stock_corrected", by=by.staff_id, subject="lot", subject_id=lot_id, facts=facts, note=note)


def take_into_use(db: Session, *, by: Viewer, lot_id: int) -> str:
    """From now on one tap at a bench notes it. Returns the number of the lot that is put away for it, or "".

    All lots of the material are locked, so that of two people who open a pack each at once one is the second.
    """
    ids = [each.id for each in queries.lots_of(db, queries.lot(db, lot_id).material_id)]
    of = {each.id: each for each in queries.lots(db, ids, lock=True)}
    lot = of.pop(lot_id)
    if lot.in_use_since:
        return ""
    if why := lot.unfit(clock.today(by.zone)):
        raise Unready(f"Lot {lot.number} of {lot.name} {why}, so it can't be taken into use.")
    before = next((each for each in of.values() if each.in_use_since), None)
    if before is not None:
        _put_away(db, before.id, by)
    db.execute(update(lot_t).where(lot_t.c.id == lot_id).values(in_use_since=clock.now()))
    journal.write(db, "lot_in_use", by=by.staff_id, subject="lot", subject_id=lot_id)
    return before.number if before else ""


def put_away(db: Session, *, by: Viewer, lot_id: int) -> None:
    """It is no longer the one in use; what is put away already writes nothing."""
    if queries.lot(db, lot_id, lock=True).in_use_since:
        _put_away(db, lot_id, by)


def _put_away(db: Session, lot_id: int, by: Viewer) -> None:
    db.execute(update(lot_t).where(lot_t.c.id == lot_id).values(in_use_since=None))
    journal.write(db, "lot_put_away", by=by.staff_id, subject="lot", subject_id=lot_id)
