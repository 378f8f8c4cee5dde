"""Who stands at a tablet of the bench? Its cookies, the way in by badge and PIN, `AtBench` for the pages below /bench.

A tablet has a secret of its own; a sign-on is a session good at that tablet and below /bench alone. Both cookies are
sent below /bench only, but nothing relies on it: `who_is_signed_in` knows no sign-on, and `AtBench` looks at the path.
"""

from collections.abc import Hashable
from datetime import timedelta
from typing import Annotated
from urllib.parse import quote

from fastapi import Depends, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import Response
from sqlmodel import Session

from app import web
from app.errors import NotFound, SignedOut
from app.people import actions, queries
from app.people.queries import Known, stations
from app.people.rules import SignedOffBy, Viewer, hash_of
from app.people.sessions.asking import Ask, cookie_name
from app.templating import go, page

BENCH = "/bench"
SIGN_ON = f"{BENCH}/sign-on"
ENROLLED_FOR = timedelta(days=400)
"""The longest that browsers keep a cookie (RFC 6265bis, 4.1.2.2, from memory); each sign-on begins it anew."""


class SignedOff(SignedOut):
    """The same at a tablet of the bench, where one signs on with badge and PIN."""


class AskAtBench(Ask):
    """A request to the bench's pages: a sign-on at this tablet counts first, else who is signed in as everywhere."""

    def __init__(self, request: Request) -> None:
        here = below_bench(request.url.path)
        sign_on = request.cookies.get(_name(request, web.SIGN_ON_COOKIES)) if here else None
        ordinary = request.cookies.get(cookie_name(request))
        super().__init__(request, sign_on or ordinary, by_cookie=True)
        self.by_sign_on = bool(sign_on)
        self.tablet_hash = tablet_hash(request) if here else ""
        self._ordinary_hash = hash_of(ordinary) if ordinary else ""

    def signed_on(self) -> Viewer | None:
        """Who is signed on at this tablet, for pages that are also there for nobody."""
        if not self.by_sign_on:
            return None
        try:
            with self.reading() as (viewer, _):
                return viewer if self.station else None
        except SignedOff as refusal:
            if refusal.facts.get("idle"):
                self.end_idle()
        except SignedOut:
            pass
        return None

    def end_idle(self) -> None:
        """Of a sign-on with what else there is in this browser, as `lock` does."""
        if not self.by_sign_on:
            super().end_idle()
            return
        with self.database.writing() as db:
            _end_here(self.request, db, SignedOffBy.IDLE)

    def _key(self) -> Hashable:
        return (self.token_hash, self.tablet_hash, self._ordinary_hash) if self.by_sign_on else super()._key()

    def _look(self, db: Session) -> Known | None:
        if not self.by_sign_on:
            return super()._look(db)
        known = queries.who_is_signed_on(db, self.token_hash, self.tablet_hash)
        if known is None and stations.enrolled(db, self.tablet_hash) is None:
            # A tablet that was ended is a browser like any other.
            return queries.who_is_signed_in(db, self._ordinary_hash)
        return known

    def _idle(self) -> timedelta:
        if not self.by_sign_on:
            return super()._idle()
        return timedelta(minutes=self.request.app.state.settings.bench_idle_minutes)

    def _checked(self, known: Known | None) -> Known:
        if known is not None and not known.viewer.station:
            self.by_sign_on, self.token_hash = False, self._ordinary_hash
        try:
            return super()._checked(known)
        except SignedOut as refusal:
            with self.database.reading() as db:
                if stations.enrolled(db, self.tablet_hash) is None:
                    raise
            words = "This tablet was left alone for a while and is locked." if "idle" in refusal.facts else ""
            raise SignedOff(words or "Nobody is signed on at this tablet.", **refusal.facts) from refusal


async def at_bench(request: Request) -> AskAtBench:
    return AskAtBench(request)


AtBench = Annotated[AskAtBench, Depends(at_bench)]


def below_bench(path: str) -> bool:
    return path == BENCH or path.startswith(f"{BENCH}/")


def _at_bench(address: str) -> str:
    """Where to go after signing on: no sign-on is good anywhere else."""
    return address if below_bench(address.partition("?")[0]) and address.isprintable() else BENCH


def _name(request: Request, names: tuple[str, str]) -> str:
    return names[0] if request.app.state.settings.secure_cookies else names[1]


def tablet_hash(request: Request) -> str:
    """What is stored of this tablet's secret; of a browser without one, what no tablet has."""
    return hash_of(request.cookies.get(_name(request, web.TABLET_COOKIES), ""))


def keep_tablet(request: Request, answer: Response, secret: str) -> Response:
    return _keep(request, answer, web.TABLET_COOKIES, secret, int(ENROLLED_FOR.total_seconds()))


def let_on(request: Request, token: str, then: str) -> Response:
    """To where the person wanted to go, below /bench."""
    answer = _keep(request, go(_at_bench(then)), web.SIGN_ON_COOKIES, token)
    return keep_tablet(request, answer, request.cookies[_name(request, web.TABLET_COOKIES)])


def _keep(
    request: Request, answer: Response, names: tuple[str, str], secret: str, seconds: int | None = None
) -> Response:
    secure = request.app.state.settings.secure_cookies
    answer.set_cookie(
        _name(request, names), secret, max_age=seconds, path=BENCH, httponly=True, samesite="strict", secure=secure
    )
    return answer


def lock(request: Request) -> Response:
    """Nobody stands here any more: the sign-on ends, and with it a session of another kind that this browser has.

    Otherwise whoever comes next would find the pages of a person who once signed in here with a password.
    """
    with request.app.state.database.writing() as db:
        _end_here(request, db, SignedOffBy.LOCK)
        here = stations.enrolled(db, tablet_hash(request))
    return _forget(request, go(SIGN_ON, "Locked.") if here else go("/sign-in", "You are signed out."))


def _end_here(request: Request, db: Session, why: SignedOffBy) -> None:
    if sign_on := request.cookies.get(_name(request, web.SIGN_ON_COOKIES)):
        actions.sign_off(db, token_hash=hash_of(sign_on), why=why)
    forget_ordinary(request, db)


def _forget(request: Request, answer: Response) -> Response:
    secure = request.app.state.settings.secure_cookies
    name = _name(request, web.SIGN_ON_COOKIES)
    answer.delete_cookie(name, path=BENCH, httponly=True, samesite="strict", secure=secure)
    return answer


def forget_ordinary(request: Request, db: Session) -> None:
    """Ends the session that somebody began in this browser with a password: the tablet is everybody's."""
    if token := request.cookies.get(cookie_name(request)):
        actions.sign_out(db, token=token)


async def signed_off(request: Request, refusal: SignedOff) -> Response:
    """At a tablet one comes to the sign-on page; an act is not kept for who signs on next, who may be another."""
    idle, ask = refusal.facts.pop("idle", False), request.state.ask
    if idle or ask.by_sign_on:
        await run_in_threadpool(ask.end_idle)
    if request.method == "GET":
        wanted = request.url.path + (f"?{request.url.query}" if request.url.query else "")
        answer: Response = go(f"{SIGN_ON}?then={quote(wanted)}", refusal.sentence if idle else "")
    else:
        words = f"{refusal.sentence} Nothing was changed; sign on and do it again."
        answer = await run_in_threadpool(sign_on_page, request, banner=words, status=refusal.status)
    return _forget(request, answer)


def sign_on_page(
    request: Request,
    *,
    then: str = BENCH,
    typed: str = "",
    fault: str = "",
    banner: str = "",
    viewer: Viewer | None = None,
    status: int = 200,
) -> Response:
    """The way in by badge and PIN; on a browser that is no tablet of the bench it says so. `fault` is the badge's."""
    with request.app.state.database.reading() as db:
        if not queries.is_set_up(db):
            raise NotFound("This lab is not set up yet.")
        lab, here = queries.lab(db), stations.enrolled(db, tablet_hash(request))
    return page(
        request,
        "people/sign_on.html",
        viewer=viewer,
        status=status,
        station=here.name if here else "",
        then=_at_bench(then),
        typed=typed,
        fault=fault,
        banner=banner,
        demo=lab.demo,
    )
