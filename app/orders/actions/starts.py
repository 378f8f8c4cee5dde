"""Starting prescriptions: kept, called otherwise, thrown away; each one journalled, its name as words."""

from sqlmodel import Session

from app import clock
from app.errors import BadInput
from app.journal import actions as journal
from app.orders.queries.starts import start
from app.orders.rules import Body, read_body
from app.orders.tables import StartingPrescription
from app.people.permissions import need
from app.people.rules import Viewer

LONGEST = 60
"""Characters of a name."""


def keep_start(db: Session, *, by: Viewer, name: str, clinic_id: int | None, way: str, body: Body) -> int:
    """For everyone of a clinic, or with None for oneself alone."""
    need(by, "place_order", clinic_id)
    kept = StartingPrescription(
        name=_name(name),
        clinic_id=clinic_id,
        staff_id=by.staff_id if clinic_id is None else None,
        way=way,
        body=read_body(body, "".join(side for side in "LR" if side in body)),
        made_by=by.staff_id,
        made_at=clock.now(),
    )
    db.add(kept)
    db.flush()
    _journal(db, "start_kept", by, kept)
    return kept.id


def rename_start(db: Session, *, by: Viewer, start_id: int, name: str) -> None:
    """Calling it what it is called already does nothing."""
    kept = start(db, by, start_id, lock=True)
    if kept.name == (name := _name(name)):
        return
    kept.name = name
    db.flush()
    _journal(db, "start_renamed", by, kept)


def throw_start_away(db: Session, *, by: Viewer, start_id: int) -> None:
    """Orders that began with it keep what they have."""
    kept = start(db, by, start_id, lock=True)
    _journal(db, "start_thrown_away", by, kept)
    db.delete(kept)
    db.flush()


def _name(name: str) -> str:
    name = " ".join(name.split())
    if not 1 <= len(name) <= LONGEST:
        words = f"A start has a name of at most {LONGEST} characters, and nothing of a wearer in it."
        raise BadInput(words, {"start_name": words})
    return name


def _journal(db: Session, what: str, by: Viewer, kept: StartingPrescription) -> None:
    facts = {"clinic": kept.clinic_id} if kept.clinic_id else {}
    note = journal.keep_words(db, kept.name, None)
    journal.write(db, what, by=by.staff_id, subject="start", subject_id=kept.id, facts=facts, note=note)
