"""What every request passes: its id, the cross-site check, the security headers, how a refusal is answered, and how a
page that nothing has changed since is answered again.

Pure ASGI on purpose: a wrapping middleware class costs more than a cached queue page. Who asks is not known here.
"""

import hashlib
import re
import secrets
import traceback
from collections.abc import Hashable, Iterable
from datetime import datetime
from typing import Annotated, Any, NamedTuple

import structlog
from fastapi import Depends, FastAPI, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from sqlalchemy.exc import DataError, IntegrityError
from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app import clock
from app.database import Database, Kept
from app.errors import BadInput, NotAllowed, NotFound, Refusal
from app.templating import page

PROBLEM = "application/problem+json"
MAX_BODY = 1_000_000
"""Bytes. A prescription with every note filled in is a few thousand; routes that take scans allow for them."""
SESSION_COOKIES = ("__Host-pairtrail", "pairtrail")
"""Their names over HTTPS, which nobody else can plant, and on plain HTTP."""
SIGN_ON_COOKIES = ("__Secure-pairtrail-bench", "pairtrail-bench")
"""The same of who signed on at a tablet of the bench; a path of its own forbids the name `__Host-`."""
TABLET_COOKIES = ("__Secure-pairtrail-tablet", "pairtrail-tablet")
"""The same of the tablet itself."""
WEARERS = "/w/"
"""What stands behind it in an address is a secret that opens a wearer's own page: it is sent and written nowhere."""
log = structlog.get_logger()

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
        "font-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
    )
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(self), microphone=(), geolocation=(), payment=()",
}
_HEADERS = [(name.encode(), value.encode()) for name, value in HEADERS.items()]
_UNSEEN = [(b"referrer-policy", b"no-referrer"), (b"x-robots-tag", b"noindex")]
_HTTPS = (b"strict-transport-security", b"max-age=31536000")
# The address carries the file's digest, so the copy in the browser is never the wrong one.
_FOR_GOOD = (b"cache-control", b"public, max-age=31536000, immutable")
_ASK_AGAIN = (b"cache-control", b"no-cache")
_NOT_KEPT = (b"cache-control", b"no-store")


class Typed(dict[str, str]):
    """What was typed into a form, last value by name; `all` gives every value of a name (boxes ticked)."""

    def __init__(self, pairs: Iterable[tuple[str, str]] = ()) -> None:
        pairs = list(pairs)
        super().__init__(pairs)
        self.pairs = pairs

    def all(self, name: str) -> list[str]:
        return [value for key, value in self.pairs if key == name]


async def _typed(request: Request) -> Typed:
    form = await request.form()
    # A NUL can't be typed and PostgreSQL can't store it.
    return Typed((key, value.replace("\0", "")) for key, value in form.multi_items() if isinstance(value, str))


Form = Annotated[Typed, Depends(_typed)]


class Gate:
    """The outermost layer: refuses what another site sends in a person's name, stamps what goes out."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        asked = headers.get("x-request-id", "")
        request_id = asked if re.fullmatch(r"[\w-]{8,64}", asked) else secrets.token_hex(8)
        scope.setdefault("state", {})["request_id"] = request_id
        https = scope["scheme"] == "https"

        async def stamp(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = _stamped(message["headers"], scope, request_id, https)
            await send(message)

        # A secret address is no standing permission that another site could use: there is nothing to protect from it,
        # and without a referrer browsers say of a form on plain HTTP that it comes from nowhere.
        if not scope["path"].startswith(WEARERS) and crosses_sites(scope["method"], headers):
            refusal = NotAllowed("This request came from another site. Open Pairtrail itself and try again.")
            await answer(Request(scope), refusal)(scope, receive, stamp)
            return
        await self.app(scope, receive, stamp)


def _stamped(
    headers: Iterable[tuple[bytes, bytes]], scope: Scope, request_id: str, https: bool
) -> list[tuple[bytes, bytes]]:
    """What an answer brings, and the same headers on each: no page sets one of these but, if it must, cache-control."""
    stamped = [*headers, *_HEADERS, (b"x-request-id", request_id.encode())]
    if scope["path"].startswith(WEARERS):
        stamped = [each for each in stamped if each[0] != b"referrer-policy"] + _UNSEEN
    if https:
        stamped.append(_HTTPS)
    if scope["path"].startswith("/static/"):
        # What a script imports has no digest in its address: it is asked for again, and answered in a line.
        stamped.append(_FOR_GOOD if b"v=" in scope["query_string"] else _ASK_AGAIN)
    elif all(name != b"cache-control" for name, _ in stamped):
        stamped.append(_NOT_KEPT)
    return stamped


class Page(NamedTuple):
    """A page as it was sent, to be sent again from `since` to before `until` while the database is the same."""

    since: datetime
    until: datetime
    headers: list[tuple[bytes, bytes]]
    body: bytes


_pages: Kept[Page] = Kept(most=200)
"""By address and cookies, so that nobody gets another's; each is about 60 kB."""


class Again:
    """Right below the gate: answers a page that was asked for before and can't have changed, without looking for it.

    Pages ask for it themselves (`Ask.again`). Whatever ends a person's access is a commit, and a commit ends a page.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        page = await _kept_page(scope) if scope["type"] == "http" and scope["method"] == "GET" else None
        if page is None:
            await self.app(scope, receive, send)
            return
        await send({"type": "http.response.start", "status": 200, "headers": page.headers})
        await send({"type": "http.response.body", "body": page.body})


async def _kept_page(scope: Scope) -> Page | None:
    key = _asked(scope)
    if key not in _pages:
        return None
    database: Database = scope["app"].state.database
    # SQLite answers from memory that it shares; a server is asked over a wire, for which nobody else should wait.
    mark = database.change_mark() if database.sqlite else await run_in_threadpool(database.change_mark)
    page = _pages.find(mark, key)
    return page if page is not None and page.since <= clock.now() < page.until else None


def keep_page(request: Request, mark: str, since: datetime, until: datetime, answer: Response) -> None:
    """`answer` depends on nothing but address, cookies, the database at `mark`, and the time in these bounds."""
    _pages.put(mark, _asked(request.scope), Page(since, until, answer.raw_headers, bytes(answer.body)))


def _asked(scope: Scope) -> Hashable:
    cookies = b"; ".join(value for name, value in scope["headers"] if name == b"cookie")
    # A session's token is nowhere held longer than its request.
    return scope["path"], scope["query_string"], hashlib.sha256(cookies).digest()


def crosses_sites(method: str, headers: Headers) -> bool:
    """True for a changing request that a browser made for another site.

    Browsers say so in Sec-Fetch-Site, older ones in Origin. With neither it is a program, which passes only as long
    as it brings no session cookie: no page can forge that.
    """
    if method in ("GET", "HEAD", "OPTIONS"):
        return False
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site not in ("same-origin", "none")
    origin = headers.get("origin")
    if origin is not None:
        return origin.split("://", 1)[-1] != headers.get("host")
    cookies = headers.get("cookie", "")
    return any(f"{name}=" in cookies for name in (*SESSION_COOKIES, *SIGN_ON_COOKIES, *TABLET_COOKIES))


def answer(request: Request, refusal: Refusal) -> Response:
    """Programs get problem+json (RFC 9457), people a page; both the same sentence."""
    if wants_json(request):
        body: dict[str, Any] = {
            "type": "about:blank",
            "title": refusal.title,
            "status": refusal.status,
            "detail": refusal.sentence,
            "request_id": request.scope.get("state", {}).get("request_id"),
        }
        extra = {"WWW-Authenticate": "Bearer"} if refusal.status == 401 else None
        return JSONResponse(body | refusal.facts, refusal.status, headers=extra, media_type=PROBLEM)
    return page(
        request,
        "error.html",
        viewer=getattr(request.state, "viewer", None),
        status=refusal.status,
        title=refusal.title,
        sentence=refusal.sentence,
        facts=refusal.facts,
    )


def to_be_saved(content: bytes, kind: str, name: str) -> Response:
    """A file from outside or for other programs, under a name of ours: opened on its own it is saved."""
    headers = {"content-disposition": f'attachment; filename="{name}"', "cache-control": "private, no-store"}
    return Response(content, media_type=kind, headers=headers)


def problems(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """What a router for programs declares of its refusals: each is problem+json, whatever stands in the way."""
    titles: dict[int, str] = {}
    for refusal in Refusal.__subclasses__():
        titles.setdefault(refusal.status, refusal.title)
    return {status: {"description": titles[status], "content": {PROBLEM: {"schema": _PROBLEM}}} for status in statuses}


_PROBLEM: dict[str, Any] = {
    "type": "object",
    "required": ["type", "title", "status", "detail", "request_id"],
    "properties": {
        "type": {"type": "string", "description": "about:blank: the status says the kind."},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string", "description": "A sentence a person can act on."},
        "request_id": {"type": "string", "description": "Finds this request in the server's log."},
        "fields": {"type": "object", "description": "422: each wrong field with its sentence."},
        "stage": {"type": ["string", "null"], "description": "409: where the pair stands now."},
        "version": {"type": "integer", "description": "409: the pair's version now."},
        "moved_by": {"type": ["string", "null"], "description": "409: who moved it there."},
    },
}


def malformed(request: Request, error: RequestValidationError) -> Response:
    """What a request lacks, at its field; the people's room answers first if nobody known sent it."""
    fields = {".".join(str(p) for p in e["loc"][1:]) or "body": str(e["msg"]) for e in error.errors()}
    words = "; ".join(f"{name}: {message}" for name, message in fields.items())
    return answer(request, BadInput(f"This request could not be read. {words}.", fields))


def wants_json(request: Request) -> bool:
    path = request.url.path
    return path.startswith(("/api/", "/health/", "/metrics")) and path != "/api/docs"


def _logged(request: Request) -> str:
    path = request.url.path
    return f"{WEARERS}…" if path.startswith(WEARERS) else path


def install(app: FastAPI) -> None:
    """Puts the gate and the refusals' answers on the application."""
    app.add_middleware(Again)
    app.add_middleware(Gate)

    @app.exception_handler(Refusal)
    def refused(request: Request, refusal: Refusal) -> Response:
        return answer(request, refusal)

    @app.exception_handler(HTTPException)
    def unrouted(request: Request, error: HTTPException) -> Response:
        if error.status_code == 404:
            return answer(request, NotFound("There is nothing at this address."))
        refusal = Refusal(str(error.detail))
        refusal.status, refusal.title = error.status_code, "That can't be done"
        return answer(request, refusal)

    @app.exception_handler(OverflowError)
    @app.exception_handler(DataError)
    @app.exception_handler(IntegrityError)
    def nowhere(request: Request, error: Exception) -> Response:
        # A number no row can have, or one of a row that is not there: the database has kept nothing of it.
        log.warning("refused by the database", path=_logged(request), kind=type(error).__name__)
        return answer(
            request, BadInput("Something in this request points at what does not exist; nothing was changed.")
        )

    @app.exception_handler(Exception)
    def broke(request: Request, error: Exception) -> Response:
        # Neither shown nor logged is what the error says or the frames hold: it could be a password or a patient's
        # words. The id finds the lines of code in the log.
        request_id = request.scope.get("state", {}).get("request_id")
        frames = "".join(traceback.format_tb(error.__traceback__))
        log.error("unhandled", request_id=request_id, path=_logged(request), kind=type(error).__name__, frames=frames)
        refusal = Refusal(f"Pairtrail itself failed here; nothing was changed. Please report the number {request_id}.")
        refusal.status, refusal.title = 500, "Our fault"
        return answer(request, refusal)
