"""What one tap in a queue notes: for each pair of a list the lots in use that fit it, and the words of its row."""

from collections.abc import Hashable, Mapping, Sequence
from datetime import date
from typing import NamedTuple

from sqlmodel import Session

from app.bench.queries.lists import QueueRow
from app.bench.queries.materials import in_use
from app.bench.queries.station import StationRow
from app.bench.rules import picks
from app.bench.rules.materials import KINDS, NOTED_AT, LotRow, asked_for
from app.bench.rules.stages import working_at
from app.orders.rules import Body


class Noted(NamedTuple):
    """`lots` are what the act names; `words` say what is in use, and `missed` why something of it is not noted."""

    lots: tuple[int, ...] = ()
    words: tuple[str, ...] = ()
    missed: tuple[str, ...] = ()


NOTHING = Noted()


def lots_for(db: Session, stage: str) -> list[LotRow]:
    """The lots in use whose kind is noted with the work at `stage`; asked once for a list."""
    if stage not in NOTED_AT:
        return []
    return [lot for lot in in_use(db) if KINDS[lot.kind].stage == stage]


def depends(lots: Sequence[LotRow]) -> bool:
    """Whether it depends on the prescription which of these lots is noted; plaster goes into every cast."""
    return any(asked_for(KINDS[lot.kind]) for lot in lots)


def noted(
    rows: Sequence[QueueRow] | Sequence[StationRow],
    lots: Sequence[LotRow],
    bodies: Mapping[int, Body],
    stage: str,
    today: date,
) -> dict[int, Noted]:
    """By pair. What is worked out for one prescription holds for every row that asks for the same."""
    if not lots:
        return {}
    items = {name for lot in lots for name in asked_for(KINDS[lot.kind])}
    known: dict[Hashable, Noted] = {}
    found = {}
    for row in rows:
        working, body = working_at(stage, row.left_stage, row.right_stage), bodies.get(row.id, {})
        key = working, *(body.get(side, {}).get(name) for side in working for name in items)
        if key not in known:
            known[key] = _noted(picks.in_use(lots, stage, body, working, today), working)
        found[row.id] = known[key]
    return found


def _noted(used: Sequence[picks.InUse], working: str) -> Noted:
    good = [each for each in used if not each.why_not]
    return Noted(
        tuple(each.lot.id for each in good),
        tuple(each.words(working) for each in good),
        tuple(each.words(working) for each in used if each.why_not),
    )
