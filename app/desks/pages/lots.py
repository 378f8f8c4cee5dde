"""Lots beside one pair: which are in it, and which may be picked, as its page shows them."""

from datetime import date
from itertools import groupby
from typing import Any

from sqlmodel import Session

from app import clock
from app.bench import queries
from app.bench.queries import Loaded
from app.bench.rules import materials
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
    lots = queries.to_pick(db) if state.stage in materials.NOTED_AT else []
    offers = materials.offers(lots, str(state.stage), body, state.working, today) if lots else []
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
                str(offer.last or ""),
            )
            for offer in offers
        ],
        "may_see_materials": may(viewer, "see_materials"),
        "may_tell_of_lot": may(viewer, "tell_of_lot", loaded.row["clinic_id"]),
    }


def _option(lot: LotRow, today: date) -> str:
    """A lot as the list that opens names it: what tells it from others comes first."""
    until = f", until {day_words(lot.expires_on, today)}" if lot.expires_on else ""
    return f"{lot.number}: {materials.amount_words(lot.stock, lot.unit)}{until}"
