"""How a page is drawn: the one Jinja environment, its filters, and the answer with a flash message taken along.

It knows no room: a page brings its own values and a `viewer` (name, roles, clinics, units, zone, station) that people
makes.
"""

import hashlib
from collections.abc import Collection, Hashable, Iterable
from datetime import date, datetime
from functools import lru_cache
from typing import Any, Protocol
from urllib.parse import quote, unquote
from zoneinfo import ZoneInfo

from fastapi import Request
from fastapi.responses import HTMLResponse, RedirectResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined, pass_context
from jinja2.runtime import Context
from markupsafe import Markup

from app import clock
from app.settings import ROOT

FLASH = "pairtrail_said"


class Viewer(Protocol):
    """What every page may know of the person looking at it."""

    @property
    def name(self) -> str: ...
    @property
    def roles(self) -> Collection[str]: ...
    @property
    def clinics(self) -> Collection[int]: ...
    @property
    def zone(self) -> str: ...
    @property
    def units(self) -> str: ...
    @property
    def station(self) -> str: ...


environment = Environment(
    loader=FileSystemLoader(ROOT / "templates"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
    auto_reload=False,  # a look at the file for each part of each page costs as much as a query
)


@lru_cache(maxsize=256)
def static(path: str) -> str:
    """The address of a file in static/, with its digest, so that it can be kept for good and still change."""
    digest = hashlib.sha256((ROOT / "static" / path).read_bytes()).hexdigest()[:12]
    return f"/static/{path}?v={digest}"


def day_words(day: date, today: date | None = None) -> str:
    """Thu 26 Nov; with the year when it is not this year's."""
    words = f"{day:%a} {day.day} {day:%b}"
    return words if today is None or day.year == today.year else f"{words} {day.year}"


@pass_context
def _day(context: Context, value: date | datetime) -> str:
    zone = context["zone"]
    day = value.astimezone(ZoneInfo(zone)).date() if isinstance(value, datetime) else value
    return day_words(day, clock.today(zone))


@pass_context
def _moment(context: Context, value: datetime) -> str:
    local = value.astimezone(ZoneInfo(context["zone"]))
    return f"{_day(context, value)} {local.hour}:{local:%M}"


environment.filters["day"] = _day
environment.filters["moment"] = _moment
environment.globals["static"] = static


def page(
    request: Request, template: str, *, viewer: Viewer | None = None, status: int = 200, **values: Any
) -> HTMLResponse:
    """`template` filled with `values`; what was said by the act before this page, or in `values`, is shown once."""
    said = values.pop("said", "") or unquote(request.cookies.get(FLASH, ""))
    html = environment.get_template(template).render(
        values,
        viewer=viewer,
        zone=viewer.zone if viewer else "UTC",
        here=request.url.path,
        said=said,
        status=status,
    )
    answer = HTMLResponse(html, status_code=status)
    if said:
        answer.delete_cookie(FLASH)
    return answer


def part(template: str, **values: Any) -> Markup:
    """A piece of a page, to be placed in it as it is. It is drawn without a viewer: nothing of a person is in it."""
    return Markup(environment.get_template(template).render(values))  # noqa: S704 - the template has escaped it


@lru_cache(maxsize=3000)
def piece(template: str, macro: str, *words: Hashable) -> Markup:
    """What a template's macro makes of these words and of nothing else; it is kept."""
    return Markup(getattr(environment.get_template(template).module, macro)(*words))  # noqa: S704 - macros escape


def pieces(template: str, macro: str, rows: Iterable[Hashable], *words: Hashable) -> Markup:
    """A piece for each row: a list that changes in one row draws one row anew."""
    return Markup("".join([piece(template, macro, row, *words) for row in rows]))  # noqa: S704


environment.globals |= {"piece": piece, "pieces": pieces}


def go(address: str, said: str = "") -> RedirectResponse:
    """After an act: 303 to `address`, which will say the sentence once."""
    answer = RedirectResponse(address, status_code=303)
    if said:
        answer.set_cookie(FLASH, quote(said[:600]), max_age=60, httponly=True, samesite="lax")
    return answer
