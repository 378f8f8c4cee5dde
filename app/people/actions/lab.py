"""Changing the lab's settings, its calendar and its clinics; journalled with old and new, words in a note."""

from collections.abc import Mapping
from typing import Any

from sqlalchemy import delete
from sqlmodel import Session

from app import clock
from app.errors import BadInput, NotFound
from app.journal import actions as journal
from app.people import queries
from app.people.rules import Viewer
from app.people.tables import Calendar, Clinic, Lab, Recount

WORDS = ("name", "address", "phone")
"""What somebody typed; everything else of a lab or clinic is a code, a number, or yes or no."""
HOURS = ("hours", "country", "region", "closures")
"""What makes a calendar, beside its zone."""
Changes = dict[str, list[Any]]
"""Old and new by field."""


def change_lab(db: Session, *, by: Viewer, calendar: dict[str, Any] | None = None, **changes: Any) -> None:
    """Settings that differ are written and journalled; a changed calendar becomes a new one, and so do its hours
    where the zone is changed that they are of."""
    lab = db.get_one(Lab, 1, with_for_update=True)
    zone = lab.zone
    changed = _set(lab, changes)
    if calendar is not None or zone != lab.zone:
        now = db.get_one(Calendar, lab.calendar_id)
        now.zone = now.zone or zone
        asked = {name: getattr(now, name) for name in HOURS} | (calendar or {}) | {"zone": lab.zone}
        if any(getattr(now, name) != value for name, value in asked.items()):
            changed["calendar"] = [lab.calendar_id, _new_hours(db, lab, asked)]
    _write_down(db, "lab_changed", by, "lab", 1, changed)


def _new_hours(db: Session, lab: Lab, asked: dict[str, Any]) -> int:
    """Puts a new calendar in force. The figures stay those of the old one until the times are counted in the new."""
    new = Calendar(made_at=clock.now(), **asked)
    db.add(new)
    db.flush()
    lab.counted_in = lab.counted_in or lab.calendar_id
    lab.calendar_id = new.id
    db.execute(delete(Recount))  # of hours that were changed again before they were counted in
    db.add(Recount(calendar_id=new.id, asked_at=new.made_at))
    return new.id


def change_limits(db: Session, *, by: Viewer, limits: Mapping[str, int | None]) -> None:
    """`limits` by name, None where the default holds again; others stay. What they mean, the rooms above know."""
    lab = db.get_one(Lab, 1, with_for_update=True)
    changed = {name: [lab.limits.get(name), new] for name, new in limits.items() if lab.limits.get(name) != new}
    after = {**lab.limits, **limits}
    lab.limits = {name: value for name, value in after.items() if value is not None}
    _write_down(db, "limits_changed", by, "lab", 1, changed)


def _set(row: Lab | Clinic, values: dict[str, Any]) -> Changes:
    """Changes what differs and returns it."""
    changed = {name: [getattr(row, name), value] for name, value in values.items() if getattr(row, name) != value}
    for name, (_, new) in changed.items():
        setattr(row, name, new)
    return changed


def _write_down(db: Session, what: str, by: Viewer, subject: str, subject_id: int, changed: Changes) -> None:
    """Nothing where nothing changed. The log itself holds no words: it names their fields and points at the note."""
    if not changed:
        return
    typed = [f"{name}: {old or '-'} → {new or '-'}" for name, (old, new) in changed.items() if name in WORDS]
    note = journal.keep_words(db, "\n".join(typed), None) if typed else None
    facts = {"fields": list(changed)} | {name: pair for name, pair in changed.items() if name not in WORDS}
    journal.write(db, what, by=by.staff_id, subject=subject, subject_id=subject_id, facts=facts, note=note)


def keep_clinic(db: Session, *, by: Viewer, clinic_id: int | None, name: str, **facts: Any) -> int:
    """Adds a clinic, or changes one; pairs on their way keep the terms they started with."""
    name = name.strip()
    names = {row.id: row.name.casefold() for row in queries.clinics(db)}
    if clinic_id is not None and clinic_id not in names:
        raise NotFound("There is no such clinic.")
    taken = {names[key] for key in names if key != clinic_id}
    if not 1 <= len(name) <= 120 or name.casefold() in taken:
        words = "A clinic needs a name of its own, of at most 120 characters."
        raise BadInput(words, {"clinic": words})
    row = Clinic(name="") if clinic_id is None else db.get_one(Clinic, clinic_id, with_for_update=True)
    changed = _set(row, {"name": name} | facts)
    db.add(row)
    db.flush()
    _write_down(db, "clinic_added" if clinic_id is None else "clinic_changed", by, "clinic", row.id, changed)
    return row.id
