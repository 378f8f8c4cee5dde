"""The tablets of the bench: enrolling and ending one, and what ends a sign-on at it."""

from sqlalchemy import ColumnElement
from sqlmodel import Session, col, select

from app import clock
from app.errors import BadInput, NotFound
from app.journal import actions as journal
from app.people.rules import SignedOffBy, Viewer, hash_of, new_token
from app.people.tables import Lab, SignedIn, Station

LONGEST = 60


def enrol(db: Session, *, by: Viewer, name: str, instead_of: str = "") -> str:
    """Returns the secret that makes a browser a tablet of the bench.

    `instead_of` is the hash of the secret it had; a tablet enrolled anew is the same thing with one name.
    """
    db.get_one(Lab, 1, with_for_update=True)  # one at a time, or two would get the same name
    name = " ".join(name.split())
    rows = db.exec(select(Station).where(col(Station.ended_at).is_(None)).with_for_update()).all()
    taken = {row.name.casefold() for row in rows if row.token_hash != instead_of}
    if not 1 <= len(name) <= LONGEST or name.casefold() in taken:
        words = f"A tablet needs a name of its own, of at most {LONGEST} characters."
        raise BadInput(words, {"name": words})
    for row in rows:
        if row.token_hash == instead_of:
            _end(db, row, by)
    token = new_token()
    station = Station(name=name, token_hash=hash_of(token), enrolled_at=clock.now(), enrolled_by=by.staff_id)
    db.add(station)
    db.flush()
    journal.write(db, "station_enrolled", by=by.staff_id, subject="station", subject_id=station.id)
    return token


def end_station(db: Session, *, by: Viewer, station_id: int) -> str:
    """At once: nobody signs on there any more, and who is signed on is signed off. Returns its name."""
    row = db.exec(select(Station).where(Station.id == station_id).with_for_update()).first()
    if row is None or row.ended_at is not None:
        raise NotFound("This tablet is not enrolled any more, or never was.")
    _end(db, row, by)
    return row.name


def _end(db: Session, row: Station, by: Viewer) -> None:
    row.ended_at = clock.now()
    end_sign_ons(db, why=SignedOffBy.TABLET_ENDED, station_id=row.id)
    journal.write(db, "station_ended", by=by.staff_id, subject="station", subject_id=row.id)


def end_sign_ons(
    db: Session, *, why: SignedOffBy, station_id: int | None = None, staff_id: int | None = None, token_hash: str = ""
) -> None:
    """Signs off who is signed on at a tablet, or a person wherever that is, or one sign-on; nobody else."""
    which: list[ColumnElement[bool]] = [col(SignedIn.station_id).is_not(None), col(SignedIn.ended_at).is_(None)]
    if station_id is not None:
        which.append(col(SignedIn.station_id) == station_id)
    elif staff_id is not None:
        which.append(col(SignedIn.staff_id) == staff_id)
    else:
        which.append(col(SignedIn.token_hash) == token_hash)
    # In one order, so that two who end several at once never wait for each other.
    for row in db.exec(select(SignedIn).where(*which).order_by(col(SignedIn.token_hash)).with_for_update()):
        row.ended_at = clock.now()
        facts = {"reason": why}
        journal.write(db, "signed_off", by=row.staff_id, subject="station", subject_id=row.station_id, facts=facts)
