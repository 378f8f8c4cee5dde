"""Who asks? A request's person is looked up in the same thread and transaction as the work it asks for."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from ipaddress import ip_address
from typing import Annotated

from fastapi import Depends, FastAPI, Request
from fastapi.responses import RedirectResponse, Response
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer
from sqlalchemy import update
from sqlmodel import Session, col

from app import clock, web
from app.database import Database
from app.errors import SignedOut
from app.journal import actions as journal
from app.people import queries
from app.people.queries import Known
from app.people.rules import Viewer, hash_of
from app.people.tables import SignedIn
from app.templating import go

SEEN_EVERY = timedelta(minutes=1)
bearer = HTTPBearer(auto_error=False, description="A token from `./pairtrail token EMAIL`.")


class Ask:
    """One request: opens the database and names the person. `token` is the cookie's or the bearer's secret."""

    def __init__(self, request: Request, token: str | None, by_cookie: bool) -> None:
        self.request = request
        self.token = token
        self.by_cookie = by_cookie

    @property
    def database(self) -> Database:
        database: Database = self.request.app.state.database
        return database

    @contextmanager
    def reading(self) -> Iterator[tuple[Viewer, Session]]:
        with self.database.reading() as db:
            known = self._known(db)
            yield known.viewer, db
        self._seen(known)

    @contextmanager
    def writing(self) -> Iterator[tuple[Viewer, Session]]:
        with self.database.writing() as db:
            known = self._known(db)
            yield known.viewer, db
        self._seen(known)

    def _known(self, db: Session) -> Known:
        if not self.token:
            raise SignedOut("Please sign in first." if self.by_cookie else "Send a bearer token with the request.")
        look = queries.who_is_signed_in if self.by_cookie else queries.whose_token
        known = look(db, hash_of(self.token))
        if known is None:
            raise SignedOut("You are signed out." if self.by_cookie else "This token is not, or no longer, valid.")
        if self.by_cookie and known.seen_at is not None and clock.now() - known.seen_at > self._idle():
            raise SignedOut("You were away for a while and have been signed out.", idle=True)
        self.request.state.viewer = known.viewer
        return known

    def _idle(self) -> timedelta:
        return timedelta(minutes=self.request.app.state.settings.idle_minutes)

    def _seen(self, known: Known) -> None:
        """Once a minute at most, in a transaction of its own: reading a page writes nothing else."""
        if known.seen_at is None or not self.by_cookie or clock.now() - known.seen_at < SEEN_EVERY:
            return
        with self.database.writing() as db:
            mine = col(SignedIn.token_hash) == hash_of(str(self.token))
            db.execute(update(SignedIn).where(mine).values(seen_at=clock.now()))


def cookie_name(request: Request) -> str:
    secure: bool = request.app.state.settings.secure_cookies
    return web.SESSION_COOKIES[0] if secure else web.SESSION_COOKIES[1]


async def signed(request: Request) -> Ask:
    return Ask(request, request.cookies.get(cookie_name(request)), by_cookie=True)


async def called(request: Request, token: Annotated[HTTPAuthorizationCredentials | None, Depends(bearer)]) -> Ask:
    return Ask(request, token.credentials if token else None, by_cookie=False)


Signed = Annotated[Ask, Depends(signed)]
Called = Annotated[Ask, Depends(called)]


def let_in(request: Request, token: str, then: str = "/", said: str = "") -> Response:
    answer = go(then, said)
    secure = request.app.state.settings.secure_cookies
    answer.set_cookie(cookie_name(request), token, path="/", httponly=True, samesite="lax", secure=secure)
    return answer


def on_loopback(request: Request) -> bool:
    """Both ends: the person sits at this machine, and asked for it by a name that can only be this machine."""
    host = (request.url.hostname or "").strip("[]")
    try:
        here = host == "localhost" or ip_address(host).is_loopback
        return here and request.client is not None and ip_address(request.client.host).is_loopback
    except ValueError:
        return False


def end_idle(request: Request) -> None:
    """Closes a session that was left alone too long, once, in the journal too."""
    token = request.cookies.get(cookie_name(request))
    if not token:
        return
    with request.app.state.database.writing() as db:
        row = db.get(SignedIn, hash_of(token))
        if row is not None and row.ended_at is None:
            row.ended_at = clock.now()
            journal.write(db, "signed_out_idle", by=row.staff_id)


def install(app: FastAPI) -> None:
    """A signed-out person who opens a page comes to the sign-in page and from there to where they wanted to go."""

    @app.exception_handler(SignedOut)
    def signed_out(request: Request, refusal: SignedOut) -> Response:
        if refusal.facts.pop("idle", False):
            end_idle(request)
        if web.wants_json(request) or request.method != "GET":
            return web.answer(request, refusal)
        return RedirectResponse(f"/sign-in?then={request.url.path}", status_code=303)
