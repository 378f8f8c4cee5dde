"""Changing the lab's settings, its calendar and its clinics; journalled by field name, never by value."""

from typing import Any

from sqlmodel import Session

from app import clock
from app.errors import BadInput, NotFound
from app.journal import actions as journal
from app.people import queries
from app.people.rules import Viewer
from app.people.tables import Calendar, Clinic, Lab


def change_lab(db: Session, *, by: Viewer, calendar: dict[str, Any] | None = None, **changes: Any) -> None:
    """Settings that differ are written and journalled by name; a changed calendar becomes a new one."""
    lab = db.get_one(Lab, 1, with_for_update=True)
    changed = [name for name, value in changes.items() if getattr(lab, name) != value]
    for name in changed:
        setattr(lab, name, changes[name])
    if calendar is not None:
        now = db.get_one(Calendar, lab.calendar_id)
        if any(getattr(now, name) != value for name, value in calendar.items()):
            new = Calendar(made_at=clock.now(), **calendar)
            db.add(new)
            db.flush()
            lab.calendar_id = new.id
            changed.append("calendar")
    if changed:
        journal.write(db, "lab_changed", by=by.staff_id, subject="lab", subject_id=1, facts={"fields": changed})


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
    row = Clinic(name=name) if clinic_id is None else db.get_one(Clinic, clinic_id, with_for_update=True)
    values = {"name": name} | facts
    changed = [key for key, value in values.items() if clinic_id is None or getattr(row, key) != value]
    for key in changed:
        setattr(row, key, values[key])
    db.add(row)
    db.flush()
    if changed:
        what = "clinic_added" if clinic_id is None else "clinic_changed"
        journal.write(db, what, by=by.staff_id, subject="clinic", subject_id=row.id, facts={"fields": changed})
    return row.id
