"""Letting a browser in and out: its cookie, the sign-in page, and what a signed-out person is answered."""

from collections.abc import Sequence
from ipaddress import ip_address
from urllib.parse import quote

from fastapi import FastAPI, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response
from fastapi.security.utils import get_authorization_scheme_param

from app import web
from app.errors import SignedOut
from app.people import actions, queries
from app.people.rules import Role
from app.people.sessions.asking import Ask, cookie_name
from app.people.sessions.bench import SignedOff, signed_off
from app.templating import go, page


def let_in(request: Request, token: str, then: str = "/", said: str = "") -> Response:
    return keep_cookie(request, go(then, said), token)


def keep_cookie(request: Request, answer: Response, token: str) -> Response:
    secure = request.app.state.settings.secure_cookies
    answer.set_cookie(cookie_name(request), token, path="/", httponly=True, samesite="lax", secure=secure)
    return answer


def leave(request: Request, said: str) -> Response:
    """The browser forgets its session; a `__Host-` cookie is only given up in the form in which it was set."""
    answer = go("/sign-in", said)
    secure = request.app.state.settings.secure_cookies
    answer.delete_cookie(cookie_name(request), path="/", httponly=True, samesite="lax", secure=secure)
    return answer


def named_loopback(request: Request) -> bool:
    """Whether the address in the browser can only be this machine: browsers trust it as they trust HTTPS."""
    host = (request.url.hostname or "").strip("[]")
    return host == "localhost" or _is_loopback(host)


def on_loopback(request: Request) -> bool:
    """Both ends: the person sits at this machine, and asked for it by a name that can only be this machine."""
    return named_loopback(request) and request.client is not None and _is_loopback(request.client.host)


def _is_loopback(address: str) -> bool:
    try:
        return ip_address(address).is_loopback
    except ValueError:
        return False


def unprotected(request: Request) -> bool:
    """Plain HTTP over a network: browsers then refuse camera, passkeys and offline work, and anyone can listen."""
    return request.url.scheme != "https" and not named_loopback(request)


def install(app: FastAPI) -> None:
    """A signed-out person who opens a page comes to the sign-in page and from there to where they wanted to go."""
    app.state.passwords = actions.Passwords()
    app.exception_handler(SignedOff)(signed_off)

    @app.exception_handler(RequestValidationError)
    def unread(request: Request, error: RequestValidationError) -> Response:
        # A body is read before the token is looked up; whoever is unknown must not learn what it should have been.
        if request.url.path.startswith("/api/"):
            scheme, token = get_authorization_scheme_param(request.headers.get("authorization"))
            try:
                with Ask(request, token if scheme.lower() == "bearer" else None, by_cookie=False).reading():
                    pass
            except SignedOut as refusal:
                return web.answer(request, refusal)
        return web.malformed(request, error)

    @app.exception_handler(SignedOut)
    async def signed_out(request: Request, refusal: SignedOut) -> Response:
        idle = refusal.facts.pop("idle", False)
        if idle:
            await run_in_threadpool(request.state.ask.end_idle)
        if web.wants_json(request):
            return web.answer(request, refusal)
        if request.method == "GET":
            wanted = request.url.path + (f"?{request.url.query}" if request.url.query else "")
            return go(f"/sign-in?then={quote(wanted)}", refusal.sentence if idle else "")
        # Half an hour of typing ends here: it travels with the sign-in form and can be sent afterwards.
        async with request.form() as form:
            # A file can't: its name alone goes along, by which the address that takes it in knows that one is missing.
            texts = [(name, each if isinstance(each, str) else each.filename) for name, each in form.multi_items()]
        kept = [(name, text) for name, text in texts if text is not None and name != "password"]
        typed = web.Typed([("then", request.url.path)])
        return await run_in_threadpool(door, request, typed, refusal.sentence, refusal.status, kept)


def door(
    request: Request,
    typed: web.Typed,
    fault: str = "",
    status: int = 200,
    kept: Sequence[tuple[str, str]] | None = None,
) -> Response:
    """The sign-in page; the demo's one-click roles only where they work. `kept` is a form that waits for it."""
    with request.app.state.database.reading() as db:
        lab = queries.lab(db) if queries.is_set_up(db) else None
    demo = lab is not None and lab.demo
    return page(
        request,
        "people/sign_in.html",
        status=status,
        typed=typed,
        errors={"email": fault} if fault else {},
        then=inside(typed.get("then", "/")),
        kept=kept,
        lab=lab.name if lab else None,
        demo=demo,
        roles=list(Role) if demo and kept is None and on_loopback(request) else [],
        unprotected=unprotected(request),
    )


def inside(address: str) -> str:
    """Only an address of this site may be gone to after signing in; browsers read a backslash as a slash."""
    safe = address.startswith("/") and not address.startswith(("//", "/\\")) and address.isprintable()
    return address if safe else "/"
