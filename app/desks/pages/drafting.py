"""The order form's drafts: kept while it is typed or by a button, gone on with anywhere, thrown away in one act."""

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from app import clock
from app.desks.rules import whole
from app.orders.actions.drafts import keep_draft, throw_draft_away
from app.orders.rules.drafts import KEPT
from app.people.permissions import need
from app.people.sessions import Ask, Signed
from app.templating import day_words, go, part
from app.web import Form, Typed

router = APIRouter(include_in_schema=False)
NO_FILES = "Scan files are not kept in a draft; choose them again before you order."


def as_lists(form: Typed) -> dict[str, Any]:
    """A form in which the boxes of one name, additions and risks, are the list of those that were ticked."""
    return form | {name: form.all(name) for name in form if name.endswith(("additions", "risks"))}


@router.post("/orders/drafts")
def keep_while_typed(ask: Signed, form: Form) -> Response:
    """Keeps the form as it stands; answers the line that says so on its page."""
    return HTMLResponse(part("desks/draft_kept.html", said=_keep(ask, as_lists(form))))


def keep_by_button(ask: Ask, typed: Mapping[str, Any]) -> Response:
    """The same without JavaScript: the form comes back, and says that it is kept."""
    return go(f"/orders/new?draft={typed.get('draft', '')}", _keep(ask, typed))


def _keep(ask: Ask, typed: Mapping[str, Any]) -> str:
    with ask.writing() as (viewer, db):
        need(viewer, "place_order")
        clinic_id = whole(str(typed.get("clinic_id", ""))) or None
        if clinic_id is not None:
            need(viewer, "place_order", clinic_id)
        kept = keep_draft(db, by=viewer, key=str(typed.get("draft", "")), clinic_id=clinic_id, typed=typed)
        today = clock.today(viewer.zone)
    if not kept:
        return "Not kept: this order was placed, or its draft thrown away, in another window."
    return f"Kept as your draft until {day_words(today + KEPT, today)}. {NO_FILES}"


@router.post("/orders/drafts/{key}")
def throw_away(key: str, ask: Signed) -> Response:
    with ask.writing() as (viewer, db):
        need(viewer, "place_order")
        gone = throw_draft_away(db, by=viewer, key=key)
    return go("/orders/new", "The draft is thrown away." if gone else "That draft was gone already.")
