"""Lots beside one pair: which are in it, and which may be picked, as its page shows them."""

from datetime import date
from itertools import groupby
from typing import Any

from sqlmodel import Session

from app import clock
from app.bench import queries
from app.bench.queries import Loaded
from app.bench.rules import materials, picks
from app.bench.rules.machine import SIDE_WORDS
from app.bench.rules.materials import LotRow
from app.bench.rules.stages import STAGES
from app.orders.rules import Body
from app.people.permissions import may
from app.people.rules import Viewer
from app.templating import day_words


def lot_values(db: Session, viewer: Viewer, loaded: Loaded, body: Body) -> dict[str, Any]:
    """Which lots are in each side, and what may be picked for the work that the pair waits for."""
    state, today = loaded.state, clock.today(viewer.zone)
    sees, noted_here = may(viewer, "see_materials"), state.stage in materials.NOTED_AT
    offers, missed = _picks(db, loaded, body, today) if sees and noted_here else ([], [])
    used = queries.lots_of_pair(db, loaded.row["id"])
    return {
        "used": [
            (of[0], STAGES[of[0].stage].done, " and ".join(SIDE_WORDS[each.side] for each in of))
            for of in (list(group) for _, group in groupby(used, lambda each: each._replace(side="")))
        ],
        "offers": [
            (
                f"Lot: {offer.what}" + ("" if offer.sides == state.working else f", {SIDE_WORDS[offer.sides]}"),
                [(str(lot.id), _option(lot, today)) for lot in offer.lots],
                str(offer.start or ""),
            )
            for offer in offers
        ],
        "missed": missed,
        "may_see_materials": sees,
        "may_tell_of_lot": may(viewer, "tell_of_lot", loaded.row["clinic_id"]),
    }


def _picks(db: Session, loaded: Loaded, body: Body, today: date) -> tuple[list[picks.Offer], list[str]]:
    """What may be picked for the work that is next, and what of the lots in use the form can't start from."""
    stage, working = str(loaded.state.stage), loaded.state.working
    in_use = picks.in_use(queries.in_use(db), stage, body, working, today)
    offers = picks.offers(queries.to_pick(db), in_use, stage, body, working, today)
    return offers, [each.words(working) for each in in_use if each.why_not]


def _option(lot: LotRow, today: date) -> str:
    """A lot as the list that opens names it: what tells it from others comes first."""
    until = f", until {day_words(lot.expires_on, today)}" if lot.expires_on else ""
    in_use = ", in use" if lot.in_use_since else ""
    return f"{lot.number}: {materials.amount_words(lot.stock, lot.unit)}{in_use}{until}"
