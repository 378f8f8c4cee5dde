"""What is decided after an order was placed: check-in, its promised day, a changed prescription, a recapture."""

from collections.abc import Collection, Mapping
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from sqlmodel import Session, col, select

from app import clock
from app.bench import queries
from app.bench.actions.moving import Moved, move
from app.bench.queries import Loaded
from app.bench.queries.promising import standard_day
from app.bench.rules.acts import ACTS
from app.bench.rules.belongings import BELONGINGS
from app.bench.rules.machine import Asked
from app.bench.tables import Belonging, Pair
from app.capture import actions as capture
from app.capture import queries as captures
from app.capture.rules import CONDITIONS, feet
from app.errors import BadInput
from app.orders import actions as orders
from app.orders.rules.checks import Answers
from app.orders.tables import Order
from app.people import queries as people
from app.people.rules import Viewer


def check_in(
    db: Session,
    *,
    code: str,
    asked: Asked,
    by: Viewer,
    shelf: str = "",
    conditions: Collection[str] = (),
    belongings: Collection[str] = (),
    foretold: date | None = None,
    done_at: datetime | None = None,
) -> Moved:
    """The captures are here and good: they are accepted, the lab promises its day, and the pair goes on.

    `conditions` are the points of the list that were looked at and found well, `belongings` what came in the box;
    `foretold` is the day that can be kept, if it is known better than by standard days.
    """
    wrong = {f"conditions.{point}": "Not on the list." for point in conditions if point not in CONDITIONS}
    wrong |= {f"belongings.{kind}": "Not a kind of belonging." for kind in belongings if kind not in BELONGINGS}
    if wrong:
        raise BadInput("The check-in needs another look.", wrong)
    loaded = queries.find(db, code, by, lock=True)
    sides = asked.sides or loaded.state.working
    promised = loaded.row["promised_on"] or day_to_promise(db, loaded, foretold)
    moved = move(db, code=code, asked=asked, by=by, done_at=done_at, changes={"promised_on": promised})
    looked = {point: point in conditions for point in CONDITIONS} if conditions else {}
    capture.accept(
        db, by=by, order_id=loaded.row["order_id"], sides=list(sides), shelf=shelf.strip()[:20], conditions=looked
    )
    db.add_all(Belonging(pair_id=loaded.row["id"], kind=kind) for kind in belongings)
    return moved


def day_to_promise(db: Session, loaded: Loaded, foretold: date | None = None) -> date:
    """The wanted day or the day that the lab can keep, whichever is later: the day at the clinic.

    `foretold` is that day; without it the route's standard working days from today. A wanted day on which nobody works
    becomes the next on which someone does.
    """
    kept = foretold or standard_day(db, loaded.row["way"], loaded.row["clinic_id"])
    wanted: date | None = loaded.row["wanted_on"]
    return people.work_calendar(db).next_working_day(max(kept, wanted)) if wanted else kept


def amend(
    db: Session,
    *,
    code: str,
    by: Viewer,
    body: Mapping[str, Mapping[str, Any]],
    stage_notes: Mapping[str, str] | None = None,
    version: int | None = None,
    words: str = "",
    answers: Answers | None = None,
) -> Moved:
    """A new version of the prescription; a pair on the bench stands still until a technician has chosen."""
    loaded = queries.find(db, code, by, lock=True)
    order = db.get_one(Order, loaded.row["order_id"])
    new = orders.prescribe(
        db,
        by=by,
        order=order,
        body={side: dict(items) for side, items in body.items()},
        stage_notes=dict(stage_notes or {}),
        answers=replace(answers, **_captured(db, order.id, by.zone)) if answers else None,
    )
    facts = {"prescription": new.number} | ({"words": words} if words else {})
    asked = Asked("amend", loaded.state.stage, version=version, facts=facts)
    return move(db, code=code, asked=asked, by=by)


def _captured(db: Session, order_id: int, zone: str) -> dict[str, Any]:
    """What the checks may know of the captures: the scans' measures, and when each was taken or at least came."""
    meshes = captures.meshes(db, [order_id])[order_id]
    return {"feet": feet(meshes), "captured_on": captures.captured_on(db, order_id, zone)}


def promise(db: Session, *, code: str, asked: Asked, by: Viewer, done_at: datetime | None = None) -> Moved:
    """Another promised day, with its reason; it can't lie in the past."""
    try:
        day = date.fromisoformat(str(asked.facts.get("day", "")))
    except ValueError:
        words = "A day reads like 2026-12-04."
        raise BadInput(words, {"day": words}) from None
    if day < clock.today(people.lab(db).zone):
        words = f"{day} is over; promise a day to come."
        raise BadInput(words, {"day": words})
    return move(db, code=code, asked=asked, by=by, done_at=done_at, changes={"promised_on": day})


def recapture(db: Session, *, code: str, asked: Asked, by: Viewer, done_at: datetime | None = None) -> Moved:
    """The capture of one side is void: its side waits for a new one, and every pair made from it stops with it.

    Those stop when the lab hears of it, whenever it was seen on this one.
    """
    moved = move(db, code=code, asked=asked, by=by, done_at=done_at)
    reason = str(asked.reason)
    stopped = capture.void(db, by=by, order_id=moved.order_id, side=str(asked.sides), reason=reason)
    others = select(Pair.code, Pair.stage).where(
        col(Pair.order_id).in_(stopped), Pair.order_id != moved.order_id, col(Pair.stage).in_(ACTS["recapture"].at)
    )
    # In the order of their codes, so that two such acts at once never wait for each other.
    for other, stage in db.exec(others.order_by(col(Pair.code))).all():
        move(db, code=other, asked=Asked("recapture", stage, sides=asked.sides, reason=reason), by=by)
    return moved
