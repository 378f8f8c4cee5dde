"""What a person says to a flag: acknowledged, or put off to a day; each with a reason and an entry in the journal."""

from datetime import date, datetime
from typing import Any, NamedTuple

from sqlmodel import Session, col, select

from app import clock
from app.bench import queries as bench
from app.capture.tables import Arrival
from app.errors import BadInput, NotFound
from app.journal import actions as journal
from app.people.permissions import need
from app.people.rules import Viewer
from app.watch import queries
from app.watch.queries import Raised
from app.watch.rules.kinds import KINDS
from app.watch.tables import FlagNote


def acknowledge(
    db: Session,
    *,
    by: Viewer,
    kind: str,
    pair: str = "",
    arrival: int | None = None,
    lot: int | None = None,
    since: datetime,
    reason: str,
) -> Raised:
    """The flag is known and stays away as long as it is the same one: another `since` brings it back."""
    standing, patient_id = _standing(db, by, kind, About(pair, arrival, lot), since)
    _reason(reason)
    _write(db, by, standing, None, reason, patient_id)
    return standing


def put_off(
    db: Session,
    *,
    by: Viewer,
    kind: str,
    pair: str = "",
    arrival: int | None = None,
    lot: int | None = None,
    since: datetime,
    until: date | None,
    reason: str,
) -> Raised:
    """The flag stays away until the day `until`, if it is still the same one; then it is back."""
    standing, patient_id = _standing(db, by, kind, About(pair, arrival, lot), since)
    at = queries.moment(db)
    wrong = {}
    furthest = at.limit("put_off_days")
    if until is None:
        wrong["until"] = "Choose the day on which the flag comes back."
    elif not 0 < (until - at.today).days <= furthest:
        wrong["until"] = f"A flag can be put off to a day from tomorrow up to {furthest} days from now."
    _reason(reason, wrong)
    _write(db, by, standing, until, reason, patient_id)
    return standing


def _reason(reason: str, wrong: dict[str, str] | None = None) -> None:
    wrong = wrong or {}
    if not reason.strip():
        wrong["reason"] = "Give the reason; it is kept with the flag."
    if wrong:
        raise BadInput("The flag needs another look; nothing was changed.", wrong)


class About(NamedTuple):
    """What a flag is about: one of these."""

    pair: str
    arrival: int | None
    lot: int | None


def _standing(db: Session, by: Viewer, kind: str, about: About, since: datetime) -> tuple[Raised, int | None]:
    """The flag as it stands now, and the wearer whose note its reason becomes."""
    if kind not in KINDS:
        raise NotFound("There is no such kind of flag.")
    patient_id, clinic_id = None, None
    if about.pair:
        row = bench.find(db, about.pair, by, lock=True).row
        patient_id, clinic_id = row["patient_id"], row["clinic_id"]
        found = queries.raised(db, pair_id=row["id"])
    elif about.lot is not None:
        bench.lot(db, about.lot, lock=True)
        found = queries.raised(db, lot_id=about.lot)
    else:
        clinic_id = _arrival_clinic(db, by, about.arrival)
        found = queries.raised(db, arrival_id=about.arrival)
    need(by, "put_off_flag", clinic_id)
    for each in found:
        if each.flag.kind == kind and each.flag.since == since and queries.concerns(by, kind, clinic_id):
            return each, patient_id
    raise NotFound("This flag does not stand any more, or not as it was shown; look at the list again.")


def _arrival_clinic(db: Session, by: Viewer, arrival_id: int | None) -> int | None:
    row = db.get(Arrival, arrival_id, with_for_update=True) if arrival_id is not None else None
    if row is None or (row.clinic_id is not None and not bench.sees(by, row.clinic_id)):
        raise NotFound("There is no such arrival.")
    return row.clinic_id


def _write(db: Session, by: Viewer, standing: Raised, until: date | None, reason: str, patient_id: int | None) -> None:
    flag, pair_id = standing.flag, standing.subject.pair_id
    ids: dict[str, Any] = {"pair": pair_id, "arrival": flag.arrival, "lot": flag.lot}
    subject, subject_id = next((name, key) for name, key in ids.items() if key is not None)
    note = journal.keep_words(db, reason.strip()[:2000], patient_id)
    values: dict[str, Any] = {
        "since": flag.since,
        "until": until,
        "staff_id": by.staff_id,
        "note_id": note.id,
        "at": clock.now(),
    }
    row = db.exec(
        select(FlagNote).where(col(FlagNote.kind) == flag.kind, getattr(FlagNote, f"{subject}_id") == subject_id)
    ).first()
    if row is None:
        row = FlagNote(kind=flag.kind, **{f"{subject}_id": subject_id}, **values)
    else:
        row.sqlmodel_update(values)
    db.add(row)
    facts = {"kind": flag.kind} | ({"until": until.isoformat()} if until else {})
    what = "flag_put_off" if until else "flag_acknowledged"
    journal.write(db, what, by=by.staff_id, subject=subject, subject_id=subject_id, facts=facts, note=note)
