"""Letting people in and out: sign-in with a slow-down, sessions, and the tokens of programs; each one journalled."""

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta

from sqlalchemy import delete, update
from sqlalchemy.dialects.postgresql import insert as insert_on_postgresql
from sqlalchemy.dialects.sqlite import insert as insert_on_sqlite
from sqlmodel import Session, col, select

from app import clock
from app.errors import NotFound, SignedOut, TooManyTries
from app.journal import actions as journal
from app.people import queries
from app.people.actions.passwords import Passwords
from app.people.rules import Viewer, hash_of, new_token, token_mark
from app.people.tables import ApiToken, FailedSignIn, SignedIn, Staff

WINDOW = timedelta(minutes=15)
TRIES = 8
"""Wrong passwords per name in a quarter of an hour before it has to rest."""
TRIES_BY_ADDRESS = 40
"""The same per address: a whole clinic may stand behind one."""
OVER = timedelta(days=28)
"""After so long without a request a session's row is dropped; who signed in and out stands in the journal."""


def whose_password(db: Session, passwords: Passwords, *, email: str, password: str) -> int:
    """The id of the person these two belong to; only reads, because the comparison takes a tenth of a second.

    To be asked after `count_try`; a caller that is refused writes it down with `failed`.
    """
    staff = db.exec(select(Staff).where(Staff.email == email.strip().lower())).first()
    stored = staff.password if staff and staff.ended_at is None else None
    if not passwords.fits(stored, password) or staff is None:
        raise SignedOut("E-mail and password do not fit together.")
    return staff.id


def sign_in(db: Session, passwords: Passwords, *, staff_id: int, password: str, address: str, browser: str = "") -> str:
    """Returns the token of a new session of a person whose password was found to be right."""
    staff = db.get_one(Staff, staff_id, with_for_update=True)
    if staff.password is None or staff.ended_at is not None:
        raise SignedOut("E-mail and password do not fit together.")
    if passwords.is_weaker(staff.password):
        staff.password = passwords.stored_form(password)
    _forget_try(db, staff.email, address)
    journal.write(db, "signed_in", by=staff.id)
    return start_session(db, staff.id, browser)


def start_session(db: Session, staff_id: int, browser: str = "", station_id: int | None = None) -> str:
    """A token that was never sent before: signing in never continues somebody else's session."""
    token, now = new_token(), clock.now()
    row = SignedIn(
        token_hash=hash_of(token),
        staff_id=staff_id,
        station_id=station_id,
        started_at=now,
        seen_at=now,
        browser=browser[:200],
    )
    db.add(row)
    return token


def sign_out(db: Session, *, token: str) -> None:
    row = _open_session(db, hash_of(token))
    if row is not None:
        row.ended_at = clock.now()
        journal.write(db, "signed_out", by=row.staff_id)


def end_idle(db: Session, *, token_hash: str) -> None:
    """Closes a session that was left alone too long; a second request that finds it so changes nothing more."""
    row = _open_session(db, token_hash)
    if row is not None:
        row.ended_at = clock.now()
        journal.write(db, "signed_out_idle", by=row.staff_id)


def _open_session(db: Session, token_hash: str) -> SignedIn | None:
    """Not a sign-on at a tablet: that is ended by `sign_off`."""
    row = db.get(SignedIn, token_hash, with_for_update=True)
    return row if row is not None and row.ended_at is None and row.station_id is None else None


def drop_old_sessions(db: Session, most: int = 500) -> int:
    """Deletes at most `most` sessions that were last used four weeks ago, and returns how many."""
    old = select(SignedIn.token_hash).where(SignedIn.seen_at < clock.now() - OVER).limit(most)
    gone = delete(SignedIn).where(col(SignedIn.token_hash).in_(old)).returning(col(SignedIn.token_hash))
    return len(db.execute(gone).all())


def count_try(db: Session, *, email: str, address: str) -> None:
    """Counts a try, for all processes, before its password is compared: many at once are all counted.

    Refuses where this name or this address has had its tries, and says how long to wait; wants a transaction of its
    own, which a refusal undoes.
    """
    if not count(db, {_by_name(email): TRIES, _by_address(address): TRIES_BY_ADDRESS}):
        words = f"Too many wrong passwords. Try again in {_wait()} min, or ask a manager for a new link."
        raise TooManyTries(words)


def count_calendar_try(db: Session, *, address: str) -> None:
    """The same for a calendar's address that nobody has: it can't be guessed, but asking costs us a look each time."""
    if not count(db, {f"calendar {address}": TRIES_BY_ADDRESS}):
        raise TooManyTries(f"Too many calendar addresses that lead nowhere. Try again in {_wait()} min.")


def _wait() -> int:
    """Minutes until the next window."""
    return int((_window() + WINDOW - clock.now()).total_seconds() // 60) + 1


def count(db: Session, most: Mapping[str, int]) -> bool:
    """Counts a try against each key, for all processes; False once one has had more than so many in this window."""
    since = _window()
    db.execute(delete(FailedSignIn).where(col(FailedSignIn.window_start) < since - WINDOW))
    insert = insert_on_sqlite if db.get_bind().dialect.name == "sqlite" else insert_on_postgresql
    # In one order, so that two who try at once never wait for each other.
    for key in sorted(most):
        first = insert(FailedSignIn).values(key=key, window_start=since, tries=1)
        again = first.on_conflict_do_update(
            index_elements=["key", "window_start"], set_={"tries": col(FailedSignIn.tries) + 1}
        )
        if db.execute(again.returning(col(FailedSignIn.tries))).scalar_one() > most[key]:
            return False
    return True


def is_used_up(db: Session, key: str, most: int) -> bool:
    """Whether the key has had its tries in this window; only reads."""
    here = (col(FailedSignIn.key) == key, col(FailedSignIn.window_start) == _window())
    return (db.execute(select(col(FailedSignIn.tries)).where(*here)).scalar() or 0) >= most


def _forget_try(db: Session, email: str, address: str) -> None:
    """A right password forgets the wrong ones of its name; of the address only that this was a try."""
    here = (col(FailedSignIn.key) == _by_address(address), col(FailedSignIn.window_start) == _window())
    # In the order in which `count_try` takes the two rows.
    db.execute(update(FailedSignIn).where(*here).values(tries=col(FailedSignIn.tries) - 1))
    db.execute(delete(FailedSignIn).where(col(FailedSignIn.key) == _by_name(email)))


def failed(db: Session) -> None:
    """Writes down that somebody was refused: neither which name was tried nor from where."""
    journal.write(db, "sign_in_refused", by=None)


def _by_name(email: str) -> str:
    return f"name {hash_of(email.strip().lower())}"


def _by_address(address: str) -> str:
    return f"address {address}"


def _window() -> datetime:
    """The beginning of the present quarter of an hour."""
    length = int(WINDOW.total_seconds())
    return datetime.fromtimestamp(int(clock.now().timestamp()) // length * length, UTC)


def make_token(db: Session, *, email: str, name: str = "") -> str:
    """A program's key to act as this person; it is shown once. `name` says what it is for."""
    staff_id, token = queries.staff_id(db, email), new_token()
    row = ApiToken(token_hash=hash_of(token), staff_id=staff_id, name=name.strip()[:80], made_at=clock.now())
    db.add(row)
    facts = {"token": token_mark(row.token_hash)}
    journal.write(db, "token_made", by=staff_id, subject="staff", subject_id=staff_id, facts=facts)
    return token


def end_token(db: Session, *, by: Viewer, staff_id: int, mark: str) -> str:
    """One token stops working with this transaction, the others go on; returns its name."""
    theirs = (ApiToken.staff_id == staff_id, col(ApiToken.ended_at).is_(None))
    rows = [
        row for row in db.exec(select(ApiToken).where(*theirs).with_for_update()) if token_mark(row.token_hash) == mark
    ]
    if not rows:
        raise NotFound("This token does not work any more, or never did.")
    rows[0].ended_at = clock.now()
    facts = {"token": mark}
    journal.write(db, "token_ended", by=by.staff_id, subject="staff", subject_id=staff_id, facts=facts)
    return rows[0].name


def mark_seen(db: Session, *, token_hash: str, by_cookie: bool) -> None:
    """A session or a program's token was used just now."""
    if by_cookie:
        db.execute(update(SignedIn).where(col(SignedIn.token_hash) == token_hash).values(seen_at=clock.now()))
    else:
        db.execute(update(ApiToken).where(col(ApiToken.token_hash) == token_hash).values(used_at=clock.now()))
