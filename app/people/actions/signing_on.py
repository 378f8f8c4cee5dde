"""Signing on at a tablet of the bench with badge and PIN; wrong ones are counted and lock.

A try goes through `count_sign_on`, `whose_badge` and `sign_on`, each in a transaction of its own, because comparing a
PIN takes a tenth of a second; one that is refused is written down with `refuse_sign_on`.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import delete, func, select
from sqlmodel import Session, col

from app import clock
from app.errors import NotAllowed, SignedOut, TooManyTries, Unready
from app.journal import actions as journal
from app.people.actions.passwords import Passwords
from app.people.actions.signing import WINDOW, start_session
from app.people.actions.stations import end_sign_ons
from app.people.permissions import RIGHTS
from app.people.queries import stations
from app.people.rules import NoSignOn, SignedOffBy, hash_of
from app.people.tables import Badge, FailedSignIn, Lab, Staff, Station

WRONG_PINS = 5
"""Per badge in a quarter of an hour, at whichever tablets, before it rests for another."""
WRONG_PINS_AT_TABLET = 20
"""The same per tablet, at which several people may mistype."""
NOT_ENROLLED = "This tablet is not enrolled, or not any more. A manager signs in on it and enrols it."
NO_FIT = "Badge and PIN do not fit together. Scan the badge again and type its PIN."
TOO_MANY = "Too many wrong PINs with this badge or at this tablet. Wait a quarter of an hour, or ask a manager."
NO_TECHNICIAN = "This badge is of somebody who is no technician any more; a manager changes roles."


class Try(NamedTuple):
    """One that was counted: where, the badge's hash, and when; so that it is found again."""

    station_id: int
    badge_hash: str
    at: datetime

    @property
    def keys(self) -> dict[str, int]:
        """What it counts against, and how many of these are let through."""
        return {f"badge {self.badge_hash}": WRONG_PINS, f"tablet {self.station_id}": WRONG_PINS_AT_TABLET}


def count_sign_on(db: Session, *, tablet_hash: str, badge: str) -> Try:
    """Counts a try, for all processes, before its PIN is compared: many at once are all counted.

    Refuses a tablet that is not enrolled, writing nothing: anyone in the network could fill the journal. Old counts
    are dropped by `count_try`.
    """
    station = stations.enrolled(db, tablet_hash)
    if station is None:
        raise Unready(NOT_ENROLLED)
    _one_at_a_time(db)
    this = Try(station.id, hash_of(badge), clock.now())
    for key, most in this.keys.items():
        if _is_locked(db, key) or _tries(db, key) >= most:
            raise TooManyTries(TOO_MANY)
    db.add_all(FailedSignIn(key=key, window_start=this.at, tries=1) for key in this.keys)
    return this


def _one_at_a_time(db: Session) -> None:
    # Tries are rows, and nothing but a lock keeps two processes from counting four each.
    db.get_one(Lab, 1, with_for_update=True)


def _tries(db: Session, key: str) -> int:
    recent = (col(FailedSignIn.key) == key, col(FailedSignIn.window_start) > clock.now() - WINDOW)
    tries: int = db.execute(select(func.count()).select_from(FailedSignIn).where(*recent)).scalar_one()
    return tries


def _is_locked(db: Session, key: str) -> bool:
    return _tries(db, f"locked {key}") > 0


class Holder(NamedTuple):
    """A badge and whose it is, as of the moment when the PIN was compared; by default a badge that nobody has."""

    badge_id: int = 0
    void_at: datetime | None = None
    staff_id: int = 0
    ended_at: datetime | None = None
    pin: str | None = None
    roles: Sequence[str] = ()


_HOLDER = (
    *(col(each) for each in (Badge.id, Badge.void_at)),
    *(col(each) for each in (Staff.id, Staff.ended_at, Staff.pin, Staff.roles)),
)


def whose_badge(db: Session, passwords: Passwords, *, this: Try, pin: str) -> Holder:
    """Only reads. Whatever is wrong, the answer is the same and takes as long; `facts` are for the journal."""
    of_badge = select(*_HOLDER).join(Staff, col(Staff.id) == col(Badge.staff_id))
    holder = Holder(*(db.execute(of_badge.where(col(Badge.secret_hash) == this.badge_hash)).first() or ()))
    fits = passwords.fits(holder.pin, pin)
    wrong = {
        NoSignOn.UNKNOWN_BADGE: not holder.badge_id,
        NoSignOn.VOID_BADGE: holder.void_at is not None or holder.ended_at is not None,
        NoSignOn.NO_PIN: holder.pin is None,
        NoSignOn.WRONG_PIN: not fits,
    }
    if why := next((each for each, so in wrong.items() if so), None):
        raise SignedOut(NO_FIT, why=why, whose=holder.staff_id)
    if not RIGHTS["sign_on"].roles.intersection(holder.roles):
        # Told only to who has both, the badge and its PIN.
        raise NotAllowed(NO_TECHNICIAN, why=NoSignOn.NO_TECHNICIAN, whose=holder.staff_id)
    return holder


def sign_on(db: Session, *, this: Try, holder: Holder, browser: str = "") -> str:
    """Returns the token of a new session, good at this tablet alone; whoever was signed on there is signed off."""
    staff = db.get_one(Staff, holder.staff_id, with_for_update=True)
    badge = db.get_one(Badge, holder.badge_id, with_for_update=True)
    station = db.get_one(Station, this.station_id, with_for_update=True)
    # What was compared a moment ago may have been ended meanwhile.
    if station.ended_at is not None:
        raise Unready(NOT_ENROLLED)
    if badge.void_at is not None or staff.pin != holder.pin:
        raise SignedOut(NO_FIT, why=NoSignOn.VOID_BADGE, whose=staff.id)
    end_sign_ons(db, why=SignedOffBy.NEXT, station_id=station.id)
    station.used_at = clock.now()
    _forget(db, this)
    journal.write(db, "signed_on", by=staff.id, subject="station", subject_id=station.id)
    return start_session(db, staff.id, browser, station.id)


def _forget(db: Session, this: Try) -> None:
    """A right PIN forgets the wrong ones of its badge; of the tablet only that this was a try."""
    of_badge, of_tablet = this.keys
    db.execute(delete(FailedSignIn).where(col(FailedSignIn.key) == of_badge))
    mine = (col(FailedSignIn.key) == of_tablet, col(FailedSignIn.window_start) == this.at)
    db.execute(delete(FailedSignIn).where(*mine))


def refuse_sign_on(db: Session, *, this: Try, why: NoSignOn, whose: int) -> None:
    """Writes down that somebody was refused, never with what, and locks what has had its tries.

    `whose` is the badge's person, 0 for a badge that nobody has.
    """
    _one_at_a_time(db)
    about: dict[str, Any] = {"subject": "station", "subject_id": this.station_id}
    owner = {"badge_of": whose} if whose else {}
    journal.write(db, "sign_on_refused", by=None, facts={"reason": why} | owner, **about)
    for key, most in this.keys.items():
        if _tries(db, key) >= most and not _is_locked(db, key):
            db.add(FailedSignIn(key=f"locked {key}", window_start=clock.now(), tries=1))
            journal.write(db, "sign_on_locked", by=None, facts={"locked": key.split()[0]} | owner, **about)


def sign_off(db: Session, *, token_hash: str, why: SignedOffBy = SignedOffBy.LOCK) -> None:
    """Locks the tablet for whoever is signed on with this session; a second time changes nothing."""
    end_sign_ons(db, why=why, token_hash=token_hash)
