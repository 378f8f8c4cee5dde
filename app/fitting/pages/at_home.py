"""What a clinician does about a wearer's own page: gives it, withdraws it, clears what was noted on it."""

from collections.abc import Callable
from typing import Any

import segno
from fastapi import APIRouter, Request
from fastapi.responses import Response
from markupsafe import Markup

from app.bench import queries as pairs
from app.fitting import actions
from app.people import queries as people
from app.people.sessions import Ask, Signed
from app.templating import go, page
from app.trade.sentences import LANGUAGES, SIZES
from app.web import WEARERS

router = APIRouter(prefix="/pair/{code}/wearer-page")


@router.post("")
def give(request: Request, code: str, ask: Signed) -> Response:
    """The link is shown once, on the page that answers; it is not kept anywhere in the clear."""
    with ask.writing() as (viewer, db):
        secret = actions.give_page(db, code=code, by=viewer)
        loaded = pairs.find(db, code, viewer)
        values: dict[str, Any] = {"state": loaded.state, "label": loaded.row["label"], "demo": people.lab(db).demo}
        values["clinic"] = people.clinic(db, loaded.row["clinic_id"]).name
    link = f"{request.base_url}{WEARERS.removeprefix('/')}{secret}"
    return page(
        request,
        "fitting/given.html",
        viewer=viewer,
        link=link,
        secret=secret,
        qr=_qr(link),
        languages=[(each.key, each.name) for each in LANGUAGES.values()],
        sizes=list(SIZES.items()),
        **values,
    )


@router.post("/withdraw")
def withdraw(code: str, ask: Signed) -> Response:
    return _done(ask, code, actions.withdraw_page, "the link of the wearer’s page opens nothing any more.")


@router.post("/clear")
def clear(code: str, ask: Signed) -> Response:
    return _done(ask, code, actions.clear_notes, "what the wearer noted is cleared; the hours rise again by the plan.")


def _done(ask: Ask, code: str, act: Callable[..., None], said: str) -> Response:
    with ask.writing() as (viewer, db):
        act(db, code=code, by=viewer)
        code = pairs.find(db, code, viewer).state.code
    return go(f"/pair/{code}#fitting", f"{code}: {said}")


def _qr(link: str) -> Markup:
    """Not kept, as other codes are: the link is a secret."""
    drawn = segno.make_qr(link, error="m").svg_inline(border=4, omitsize=True, svgclass="qr", lineclass=None)
    return Markup(drawn)  # noqa: S704 - the library draws modules, the link's characters are not in it
