"""Who asks? A request's person is looked up in the same thread and transaction as the work it asks for."""

from collections.abc import Hashable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from typing import Annotated

from fastapi import Depends, Request
from fastapi.responses import Response
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer
from sqlmodel import Session

from app import clock, web
from app.database import Database, Kept
from app.errors import SignedOut
from app.journal import actions as journal
from app.people import actions, queries
from app.people.queries import Known
from app.people.rules import Viewer, hash_of

SEEN_EVERY = timedelta(minutes=1)
TOKEN_SEEN_EVERY = timedelta(days=1)
_found: Kept[Known | None] = Kept(most=2000)
"""Who a cookie or token belonged to at the last look. For reading alone: an act looks in its own transaction."""
bearer = HTTPBearer(auto_error=False, description="A token from `./pairtrail token EMAIL`.")


class Ask:
    """One request: opens the database and names the person. `token` is the cookie's or the bearer's secret."""

    def __init__(self, request: Request, token: str | None, by_cookie: bool) -> None:
        self.request = request
        request.state.ask = self
        self.token_hash = hash_of(token) if token else ""
        self.by_cookie = by_cookie
        self.mark = ""
        """The database's change mark from before this request read anything; empty where it writes."""
        self._since = clock.now()
        self._until = self._since
        """When what was read in this request has to be read again, whether anything was changed or not."""
        self._read: set[int] = set()
        self.station = ""
        """The name of the tablet at which the person signed on; empty in other sessions. Known in a block."""

    @property
    def database(self) -> Database:
        database: Database = self.request.app.state.database
        return database

    @contextmanager
    def reading(self) -> Iterator[tuple[Viewer, Session]]:
        self.mark, self._since = self.database.change_mark(), clock.now()
        with self.database.reading() as db:
            known = self._checked(_found.get(self.mark, self._key(), lambda: self._look(db)))
            yield known.viewer, db
        self._until = self._good_until(known)
        self._seen(known)

    @contextmanager
    def writing(self) -> Iterator[tuple[Viewer, Session]]:
        with self.database.writing() as db:
            known = self._checked(self._look(db))
            yield known.viewer, db
        self._seen(known)

    def note_reading(self, patient_id: int) -> None:
        """To be called where a wearer's record is shown: journalled once a person, wearer and hour, after the block."""
        self._read.add(patient_id)

    def again(self, answer: Response) -> Response:
        """`answer`, also for the next request of this browser for the same address, if nothing is changed meanwhile.

        For pages of which nothing need be noted when they are read. Ages and days on them change with the minute alone.
        """
        says_once = "set-cookie" in answer.headers
        if self.mark and answer.status_code == 200 and not says_once and not self._read:
            web.keep_page(self.request, self.mark, self._since, self._until, answer)
        return answer

    def _good_until(self, known: Known) -> datetime:
        minute = self._since.replace(second=0, microsecond=0) + timedelta(minutes=1)
        return minute if known.seen_at is None else min(minute, known.seen_at + min(SEEN_EVERY, self._idle()))

    def end_idle(self) -> None:
        """Closes the session that was found to be left alone for too long."""
        with self.database.writing() as db:
            actions.end_idle(db, token_hash=self.token_hash)

    def _key(self) -> Hashable:
        """What `_look` depends on beside the database."""
        return self.by_cookie, self.token_hash

    def _look(self, db: Session) -> Known | None:
        find = queries.who_is_signed_in if self.by_cookie else queries.whose_token
        return find(db, self.token_hash) if self.token_hash else None

    def _checked(self, known: Known | None) -> Known:
        if not self.token_hash:
            raise SignedOut("Please sign in first." if self.by_cookie else "Send a bearer token with the request.")
        if known is None:
            raise SignedOut("You are signed out." if self.by_cookie else "This token is not, or no longer, valid.")
        if self.by_cookie and known.seen_at is not None and clock.now() - known.seen_at > self._idle():
            raise SignedOut("You were away for a while and have been signed out.", idle=True)
        self.request.state.viewer, self.station = known.viewer, known.viewer.station
        return known

    def _idle(self) -> timedelta:
        return timedelta(minutes=self.request.app.state.settings.idle_minutes)

    def _seen(self, known: Known) -> None:
        """What reading may write: that a session lives, once a minute at most, that a program's token does, once a day,
        and which records were read."""
        every = SEEN_EVERY if self.by_cookie else TOKEN_SEEN_EVERY
        due = known.seen_at is None or clock.now() - known.seen_at >= every
        if not due and not self._read:
            return
        hour = clock.now().replace(minute=0, second=0, microsecond=0)
        me = known.viewer.staff_id
        with self.database.reading() as db:
            new = [patient for patient in sorted(self._read) if not queries.has_read(db, me, patient, hour)]
        if not due and not new:
            return
        with self.database.writing() as db:
            if due:
                actions.mark_seen(db, token_hash=self.token_hash, by_cookie=self.by_cookie)
            for patient in new:
                journal.write(db, "patient_read", by=me, subject="patient", subject_id=patient)


def cookie_name(request: Request) -> str:
    secure: bool = request.app.state.settings.secure_cookies
    return web.SESSION_COOKIES[0] if secure else web.SESSION_COOKIES[1]


async def signed(request: Request) -> Ask:
    return Ask(request, request.cookies.get(cookie_name(request)), by_cookie=True)


async def called(request: Request, token: Annotated[HTTPAuthorizationCredentials | None, Depends(bearer)]) -> Ask:
    return Ask(request, token.credentials if token else None, by_cookie=False)


Signed = Annotated[Ask, Depends(signed)]
Called = Annotated[Ask, Depends(called)]
