"""Letting people in and out: sign-in with a slow-down, sessions, and the tokens of programs; each one journalled."""

from datetime import UTC, datetime, timedelta

from sqlalchemy import delete
from sqlalchemy.dialects.postgresql import insert as insert_on_postgresql
from sqlalchemy.dialects.sqlite import insert as insert_on_sqlite
from sqlmodel import Session, col, select

from app import clock
from app.errors import SignedOut, TooManyTries
from app.journal import actions as journal
from app.people import queries
from app.people.actions.passwords import Passwords
from app.people.rules import hash_of, new_token
from app.people.tables import ApiToken, FailedSignIn, SignedIn, Staff

WINDOW = timedelta(minutes=15)
TRIES = 8
"""Wrong passwords per name or address in a quarter of an hour before it has to rest."""


def whose_password(db: Session, passwords: Passwords, *, email: str, password: str) -> int:
    """The id of the person these two belong to; only reads, because the comparison takes a tenth of a second.

    A caller that is refused counts it with `failed`.
    """
    staff = db.exec(select(Staff).where(Staff.email == email.strip().lower())).first()
    stored = staff.password if staff and staff.ended_at is None else None
    if not passwords.fits(stored, password) or staff is None:
        raise SignedOut("E-mail and password do not fit together.")
    return staff.id


def sign_in(db: Session, passwords: Passwords, *, staff_id: int, password: str, browser: str = "") -> str:
    """Returns the token of a new session of a person whose password was found to be right."""
    staff = db.get_one(Staff, staff_id, with_for_update=True)
    if staff.password is None or staff.ended_at is not None:
        raise SignedOut("E-mail and password do not fit together.")
    if passwords.is_weaker(staff.password):
        staff.password = passwords.stored_form(password)
    db.execute(delete(FailedSignIn).where(col(FailedSignIn.key) == _by_name(staff.email)))
    journal.write(db, "signed_in", by=staff.id)
    return start_session(db, staff.id, browser)


def start_session(db: Session, staff_id: int, browser: str = "") -> str:
    """A token that was never sent before: signing in never continues somebody else's session."""
    token, now = new_token(), clock.now()
    db.add(SignedIn(token_hash=hash_of(token), staff_id=staff_id, started_at=now, seen_at=now, browser=browser[:200]))
    return token


def sign_out(db: Session, *, token: str) -> None:
    row = db.get(SignedIn, hash_of(token), with_for_update=True)
    if row is not None and row.ended_at is None:
        row.ended_at = clock.now()
        journal.write(db, "signed_out", by=row.staff_id)


def end_idle(db: Session, *, token: str) -> None:
    """Closes a session that was left alone too long; a second request that finds it so changes nothing more."""
    row = db.get(SignedIn, hash_of(token), with_for_update=True)
    if row is not None and row.ended_at is None:
        row.ended_at = clock.now()
        journal.write(db, "signed_out_idle", by=row.staff_id)


def hold_back(db: Session, *, email: str, address: str) -> None:
    """Refuses while this name or this address has failed too often; says how long to wait."""
    since = _window()
    for key in (_by_name(email), _by_address(address)):
        row = select(FailedSignIn.tries).where(FailedSignIn.key == key, FailedSignIn.window_start == since)
        if (db.exec(row).first() or 0) >= TRIES:
            wait = int((since + WINDOW - clock.now()).total_seconds() // 60) + 1
            raise TooManyTries(f"Too many wrong passwords. Try again in {wait} min, or ask a manager for a new link.")


def failed(db: Session, *, email: str, address: str) -> None:
    """Counts a wrong password in a transaction of its own, for all processes."""
    insert = insert_on_sqlite if db.get_bind().dialect.name == "sqlite" else insert_on_postgresql
    # In one order, so that two who fail at once never wait for each other.
    for key in sorted((_by_name(email), _by_address(address))):
        first = insert(FailedSignIn).values(key=key, window_start=_window(), tries=1)
        again = {"tries": col(FailedSignIn.tries) + 1}
        db.execute(first.on_conflict_do_update(index_elements=["key", "window_start"], set_=again))
    journal.write(db, "sign_in_refused", by=None)


def _by_name(email: str) -> str:
    return f"name {hash_of(email.strip().lower())}"


def _by_address(address: str) -> str:
    return f"address {address}"


def _window() -> datetime:
    """The beginning of the present quarter of an hour."""
    length = int(WINDOW.total_seconds())
    return datetime.fromtimestamp(int(clock.now().timestamp()) // length * length, UTC)


def make_token(db: Session, *, email: str) -> str:
    """A program's key to act as this person; it is shown once."""
    staff_id, token = queries.staff_id(db, email), new_token()
    db.add(ApiToken(token_hash=hash_of(token), staff_id=staff_id, made_at=clock.now()))
    journal.write(db, "token_made", by=staff_id, subject="staff", subject_id=staff_id)
    return token
