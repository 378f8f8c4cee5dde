"""What can be promised of an order that is typed, and of a pair that is checked in."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from sqlmodel import Session

from app.bench.queries import Loaded
from app.bench.rules.stages import WAYS
from app.people.permissions import may
from app.people.rules import Viewer
from app.turnaround.queries.promise import Promise, promise

WHOLE_ROUTE = ("new", "remake")
"""Reasons of visits that walk the whole route; forecasts are made of no other before it has begun."""


def typed_promise(db: Session, viewer: Viewer, typed: Mapping[str, Any], clinic_id: int | None) -> Promise | None:
    """Of an order form as far as it is filled in; `clinic_id` is the clinic that stands there while none is chosen."""
    chosen = str(typed.get("clinic_id") or clinic_id or "")
    if not chosen.isdecimal() or not may(viewer, "place_order", int(chosen)):
        return None
    way = str(typed.get("way") or "cast")
    start = "check_in" if "here" in typed or typed.get("same") else "order"
    if way not in WAYS:
        return None
    return promise(db, way=way, clinic_id=int(chosen), start=start, wanted_on=_day(typed.get("wanted_on")))


def pair_promise(db: Session, loaded: Loaded) -> Promise | None:
    """Of a pair that waits to be checked in; None where its day stands already."""
    row, state = loaded.row, loaded.state
    if state.stage != "check_in" or row["promised_on"] or state.reason not in WHOLE_ROUTE:
        return None
    return promise(db, way=row["way"], clinic_id=row["clinic_id"], start="check_in", wanted_on=row["wanted_on"])


def foretold(db: Session, loaded: Loaded) -> date | None:
    """The day to promise at check-in, where a forecast says it."""
    found = pair_promise(db, loaded)
    return found.day if found and found.made_at else None


def _day(typed: Any) -> date | None:
    try:
        return date.fromisoformat(str(typed or ""))
    except ValueError:
        return None
