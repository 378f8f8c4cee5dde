"""The cards of a bench on the screen, where a scanner reads them as well, and which of them to print."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.bench.rules.cards import offered
from app.paperwork.sheets import qr
from app.people import queries as people
from app.people.permissions import need
from app.people.sessions import Signed
from app.templating import page

router = APIRouter(include_in_schema=False)


@router.get("/bench/cards")
def card_list(request: Request, ask: Signed) -> Response:
    with ask.reading() as (viewer, db):
        need(viewer, "print_cards")
        lab = people.lab(db)
    groups = [
        (group.title, [(card, qr(card.payload)) for card in group.cards])
        for group in offered(lab.stages_on, lab.marks_start)
    ]
    return page(request, "desks/cards.html", viewer=viewer, demo=lab.demo, groups=groups)
