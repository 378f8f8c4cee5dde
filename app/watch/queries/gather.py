"""What the rules are asked about, read with a fixed number of queries however many pairs are open."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import Row, select
from sqlmodel import Session, col

from app.bench.queries import clinic_t, hold_t, pair_t, visit_t
from app.bench.rules.belongings import words_of
from app.bench.rules.stages import STAGES
from app.bench.tables import Belonging, Move, Parcel, ParcelBelonging, ParcelItem
from app.capture.rules import KINDS as CAPTURE_KINDS
from app.capture.tables import Arrival, Capture, WorkedFrom
from app.watch.queries.promises import promises
from app.watch.queries.scope import AT_CLINIC, OPEN, Acts, Scope, Subject
from app.watch.queries.stock import stock
from app.watch.queries.wearing import rechecks, worn
from app.watch.rules import facts
from app.watch.rules.limits import Moment

COUNTED = ("tell", "book", "promise", "send_back", "adjust", "take_back")
"""Acts whose times and numbers the rules ask for."""


class Gathered(NamedTuple):
    facts: list[Any]
    subjects: dict[str, Subject]
    """By the pair's code."""
    arrivals: dict[int, Subject]
    lots: dict[int, Subject]


move_t = Move.metadata.tables["move"]
_OF_MOVES = ("id", "pair_id", "act", "at", "visit_id", "reason", "takes_back")
_WANTED = (
    *("id", "code", "label", "clinic_id", "stage", "place", "since", "all_sides", "left_stage", "right_stage"),
    *("left_since", "right_since", "parked_on", "promised_on", "fitting_at", "not_before", "visit_id", "reason"),
)


def gather(db: Session, scope: Scope, at: Moment) -> Gathered:
    """Every fact of the open pairs in `scope`, and of what belongs to ended ones or to nobody."""
    rows = _open_pairs(db, scope)
    subjects = {row.code: Subject(row.id, row.label, row.clinic_id, row.clinic) for row in rows}
    holds, acts = _holds(db, scope), _acts(db, scope)
    missing, sent = _missing(db, scope), _sent(db, scope)
    found: list[Any] = []
    for row in rows:
        mine = acts.get(row.id, {})
        reasons = tuple(holds.get(row.id, ()))
        if reasons:
            found.append(facts.Parked(row.code, reasons))
        if row.id in missing:
            found.append(missing[row.id])
        if way := _on_its_way(row, sent):
            found.append(way)
        if _could_go_on(row, at.now) and row.id not in missing and way is None:
            found.append(facts.Still(row.code, STAGES[row.stage].queue, row.last_at))
        if row.stage == "dispense":
            told = [when for when, visit in mine.get("tell", ()) if visit == row.visit_id]
            found.append(facts.Ready(row.code, row.since, max(told, default=None), row.fitting_at))
        found.append(_repeated(row, mine))
    found += promises(db, rows, acts, at)
    found += worn(db, scope, [row for row in rows if row.stage == "wear_in"])
    for gathered in (rechecks(db, scope, at.today), _left(db, scope)):
        for fact, subject in gathered:
            found.append(fact)
            subjects.setdefault(fact.pair, subject)
    arrivals = {}
    for arrival, subject in _arrivals(db, scope):
        found.append(arrival)
        arrivals[arrival.id] = subject
    lots = {}
    for lot, subject in stock(db, scope, at):
        found.append(lot)
        lots[lot.lot] = subject
    return Gathered(found, subjects, arrivals, lots)


def _open_pairs(db: Session, scope: Scope) -> Sequence[Row[Any]]:
    """The time of the last act comes from the move with the pair's own version: one look into a unique index."""
    query = (
        select(
            *(pair_t.c[name] for name in _WANTED),
            visit_t.c.route,
            visit_t.c.started_at,
            clinic_t.c.name.label("clinic"),
            clinic_t.c.transit_days,
            move_t.c.at.label("last_at"),
        )
        .join(visit_t, visit_t.c.id == pair_t.c.visit_id)
        .join(clinic_t, clinic_t.c.id == pair_t.c.clinic_id)
        .join(move_t, (move_t.c.pair_id == pair_t.c.id) & (move_t.c.version == pair_t.c.version))
        .where(OPEN, *scope.pairs())
    )
    return db.execute(query).all()


def _holds(db: Session, scope: Scope) -> dict[int, list[facts.Standing]]:
    query = (
        select(hold_t.c.pair_id, hold_t.c.kind, hold_t.c.waiting_on, hold_t.c.opened_at)
        .join(pair_t, pair_t.c.id == hold_t.c.pair_id)
        .where(hold_t.c.closed_by.is_(None), OPEN, pair_t.c.open_holds > 0, *scope.pairs())
        .order_by(hold_t.c.id)
    )
    found: dict[int, list[facts.Standing]] = defaultdict(list)
    for pair_id, kind, waiting_on, opened_at in db.execute(query):
        found[pair_id].append(facts.Standing(kind, waiting_on, opened_at))
    return found


def _acts(db: Session, scope: Scope) -> Acts:
    """When each counted act was done, with its visit, by pair and act; what was taken back is left out.

    The open pairs are named first: joined, SQLite would read every move of every year.
    """
    query = select(*(move_t.c[name] for name in _OF_MOVES)).where(
        move_t.c.pair_id.in_(select(pair_t.c.id).where(OPEN, *scope.pairs())), move_t.c.act.in_(COUNTED)
    )
    rows = db.execute(query).all()
    undone = {row.takes_back for row in rows if row.takes_back}
    found: Acts = defaultdict(lambda: defaultdict(list))
    for row in rows:
        if row.id not in undone and row.reason != "booked_by_mistake":
            found[row.pair_id][row.act].append((row.at, row.visit_id))
    return found


def _repeated(row: Row[Any], acts: dict[str, list[tuple[datetime, int]]]) -> facts.Repeated:
    back = [when for when, visit in acts.get("send_back", ()) if visit == row.visit_id]
    adjusted = [when for when, _ in acts.get("adjust", ())]
    return facts.Repeated(row.code, len(back), max(back, default=None), len(adjusted), max(adjusted, default=None))


def _missing(db: Session, scope: Scope) -> dict[int, facts.Missing]:
    """Captures that have not arrived, of pairs whose side waits for them at check-in."""
    query = (
        select(pair_t.c.id, pair_t.c.code, col(Capture.side), col(Capture.expected_at))
        .join(WorkedFrom, col(WorkedFrom.order_id) == pair_t.c.order_id)
        .join(Capture, col(Capture.id) == col(WorkedFrom.capture_id))
        .where(pair_t.c.stage == "check_in", col(Capture.state) == "expected", *scope.pairs())
        .order_by(pair_t.c.id, col(Capture.side))
    )
    found: dict[int, facts.Missing] = {}
    for pair_id, code, side, expected_at in db.execute(query):
        before = found.get(pair_id)
        sides, since = (before.sides + side, min(before.expected_at, expected_at)) if before else (side, expected_at)
        found[pair_id] = facts.Missing(code, sides, since)
    return found


def _sent(db: Session, scope: Scope) -> dict[int, tuple[datetime, bool, str]]:
    """Parcels on their way, by pair: since when, whether to the clinic, and how it goes."""
    query = (
        select(
            col(ParcelItem.pair_id),
            col(Parcel.sent_at),
            col(Parcel.to_clinic),
            col(Parcel.carrier),
            col(Parcel.tracking),
        )
        .join(Parcel, col(Parcel.id) == col(ParcelItem.parcel_id))
        .join(pair_t, pair_t.c.id == col(ParcelItem.pair_id))
        .where(col(Parcel.received_at).is_(None), OPEN, *scope.pairs())
    )
    return {row[0]: (row[1], row[2], " ".join(part for part in row[3:] if part)) for row in db.execute(query)}


def _on_its_way(row: Row[Any], sent: dict[int, tuple[datetime, bool, str]]) -> facts.Sent | None:
    """A pair handed over without a parcel counts from leaving; one that is looked for is parked and counts there."""
    if row.id in sent:
        sent_at, to_clinic, how = sent[row.id]
        return facts.Sent(row.code, sent_at, row.transit_days, to_clinic, how)
    if row.place == "way" and not row.parked_on:
        return facts.Sent(row.code, row.since, row.transit_days, row.stage == "receive")
    return None


def _could_go_on(row: Row[Any], now: datetime) -> bool:
    setting = row.not_before is not None and row.not_before > now
    return not (row.parked_on or setting or row.place == "way" or row.stage in AT_CLINIC)


def _left(db: Session, scope: Scope) -> Iterator[tuple[facts.Left, Subject]]:
    """What ended pairs have left behind, and what open ones miss since a parcel was received."""
    lost_in = (col(ParcelBelonging.belonging_id) == col(Belonging.id)) & (col(ParcelBelonging.state) == "missing")
    query = (
        select(
            *(pair_t.c.id, pair_t.c.code, pair_t.c.label, pair_t.c.clinic_id, clinic_t.c.name.label("clinic")),
            *(pair_t.c.end, visit_t.c.ended_at, pair_t.c.since, col(Belonging.kind), col(Belonging.side)),
            col(Parcel.received_at),
        )
        .join(pair_t, pair_t.c.id == col(Belonging.pair_id))
        .join(visit_t, visit_t.c.id == pair_t.c.visit_id)
        .join(clinic_t, clinic_t.c.id == pair_t.c.clinic_id)
        .join(ParcelBelonging, lost_in, isouter=True)
        .join(Parcel, col(Parcel.id) == col(ParcelBelonging.parcel_id), isouter=True)
        .where(
            col(Belonging.settled_at).is_(None),
            pair_t.c.stage.is_(None) | (col(Belonging.place) == "missing"),
            *scope.pairs(),
        )
        .order_by(col(Belonging.id), col(Parcel.id))
    )
    things: dict[int, list[Row[Any]]] = defaultdict(list)
    for row in db.execute(query):
        things[row.id].append(row)
    for rows in things.values():
        first = rows[0]
        kinds = tuple(dict.fromkeys(words_of(row.kind, row.side) for row in rows))
        since = (first.ended_at if first.end else first.received_at) or first.since
        left = facts.Left(first.code, first.end, since, kinds)
        yield left, Subject(first.id, first.label, first.clinic_id, first.clinic)


def _arrivals(db: Session, scope: Scope) -> Iterator[tuple[facts.Arrival, Subject]]:
    query = (
        select(
            *(col(column) for column in (Arrival.id, Arrival.at, Arrival.kind, Arrival.label, Arrival.clinic_id)),
            clinic_t.c.name,
        )
        .join(clinic_t, clinic_t.c.id == col(Arrival.clinic_id), isouter=True)
        .where(col(Arrival.settled_at).is_(None), *scope.arrivals())
    )
    for arrival_id, came_at, kind, label, clinic_id, clinic in db.execute(query):
        words = CAPTURE_KINDS.get(kind, kind)
        what = words[0].upper() + words[1:]
        yield facts.Arrival(arrival_id, came_at, what), Subject(None, label or "no label", clinic_id, clinic or "")
