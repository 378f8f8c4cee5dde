"""What every request passes: its id, the cross-site check, the security headers, and how a refusal is answered.

Pure ASGI on purpose: a wrapping middleware class costs more than a cached queue page. Who asks is not known here.
"""

import re
import secrets
import traceback
from collections.abc import Iterable
from typing import Annotated, Any

import structlog
from fastapi import Depends, FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from sqlalchemy.exc import DataError, IntegrityError
from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.errors import BadInput, NotAllowed, NotFound, Refusal
from app.templating import page

PROBLEM = "application/problem+json"
SESSION_COOKIES = ("__Host-pairtrail", "pairtrail")
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
                _stamp(MutableHeaders(scope=message), scope["path"], request_id, https)
            await send(message)

        if crosses_sites(scope["method"], headers):
            refusal = NotAllowed("This request came from another site. Open Pairtrail itself and try again.")
            await answer(Request(scope), refusal)(scope, receive, stamp)
            return
        await self.app(scope, receive, stamp)


def _stamp(headers: MutableHeaders, path: str, request_id: str, https: bool) -> None:
    for name, value in HEADERS.items():
        headers[name] = value
    headers["x-request-id"] = request_id
    if https:
        headers["strict-transport-security"] = "max-age=31536000"
    if path.startswith("/static/"):
        # The address carries the file's digest, so the copy in the browser is never the wrong one.
        headers["cache-control"] = "public, max-age=31536000, immutable"
    else:
        headers.setdefault("cache-control", "no-store")


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
    return any(f"{name}=" in cookies for name in SESSION_COOKIES)


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


def malformed(request: Request, error: RequestValidationError) -> Response:
    """What a request lacks, at its field; the people's room answers first if nobody known sent it."""
    fields = {".".join(str(p) for p in e["loc"][1:]) or "body": str(e["msg"]) for e in error.errors()}
    words = "; ".join(f"{name}: {message}" for name, message in fields.items())
    return answer(request, BadInput(f"This request could not be read. {words}.", fields))


def wants_json(request: Request) -> bool:
    return request.url.path.startswith(("/api/", "/health/"))


def install(app: FastAPI) -> None:
    """Puts the gate and the refusals' answers on the application."""
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
        log.warning("refused by the database", path=request.url.path, kind=type(error).__name__)
        return answer(
            request, BadInput("Something in this request points at what does not exist; nothing was changed.")
        )

    @app.exception_handler(Exception)
    def broke(request: Request, error: Exception) -> Response:
        # Neither shown nor logged is what the error says or the frames hold: it could be a password or a patient's
        # words. The id finds the lines of code in the log.
        request_id = request.scope.get("state", {}).get("request_id")
        frames = "".join(traceback.format_tb(error.__traceback__))
        log.error("unhandled", request_id=request_id, path=request.url.path, kind=type(error).__name__, frames=frames)
        refusal = Refusal(f"Pairtrail itself failed here; nothing was changed. Please report the number {request_id}.")
        refusal.status, refusal.title = 500, "Our fault"
        return answer(request, refusal)
