"""One act on one pair: the row is locked, the machine asked, and pair, move, stays and holds are written together."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from sqlalchemy import RowMapping, bindparam, delete, func, insert, select, update
from sqlmodel import Session

from app import clock, outbox
from app.bench import queries
from app.bench.actions import positives, using
from app.bench.queries import SIDE_COLUMNS, Loaded, hold_t, pair_t, visit_t
from app.bench.rules import machine, record
from app.bench.rules.acts import ACTS, TAKE_BACK_WITHIN, TAKEN_BACK
from app.bench.rules.machine import Asked, Outcome, State
from app.bench.rules.replay import Walk, replay
from app.bench.rules.stages import STAGES
from app.bench.tables import Move, Visit
from app.capture.actions.positives import unmake
from app.database import COUNTED
from app.errors import BadInput, MovedOn, Unready
from app.journal import actions as journal
from app.journal.tables import Note
from app.orders import queries as orders
from app.people import queries as people
from app.people.rules import Viewer

STARTS_A_VISIT = frozenset({"adjust", "refurbish"})
FAR = date.max
move_t, stay_t = (Move.metadata.tables[name] for name in ("move", "stay"))
# Each act sends these; a statement is as dear to build as to run.
_MOVE = insert(move_t).returning(move_t.c.id)
_STAYS = insert(stay_t)
_PAIR = update(pair_t).where(pair_t.c.id == bindparam("the_pair"))
_LAST_DONE = select(func.max(move_t.c.done_at)).where(move_t.c.pair_id == bindparam("the_pair"))


class Moved(NamedTuple):
    """What an act came to."""

    pair_id: int
    order_id: int
    move_id: int
    state: State


def move(
    db: Session,
    *,
    code: str,
    asked: Asked,
    by: Viewer,
    done_at: datetime | None = None,
    changes: Mapping[str, Any] | None = None,
    extra: Mapping[str, Any] | None = None,
) -> Moved:
    """Does one act and writes its move. Call it inside `database.writing()`.

    `done_at` is when the person did it, if that was before now. `changes` are columns of the pair that the act's own
    room sets with it (a promised day, an appointment), `extra` facts that rooms add.
    """
    loaded = queries.find(db, code, by, lock=True)
    if asked.act in STARTS_A_VISIT:
        terms = queries.terms_of(db, loaded.row["clinic_id"])
        loaded = loaded._replace(state=replace(loaded.state, terms=terms))
    viewer = by.at(loaded.row["clinic_id"])
    _ticket(db, loaded, asked)
    if asked.act in ("take_back", "reopen"):
        return _from_history(db, loaded, asked, viewer, done_at)
    try:
        outcome = machine.decide(loaded.state, asked, viewer)
    except MovedOn as refusal:
        last = queries.last_move(db, loaded.row["id"])
        raise MovedOn(
            refusal.sentence + (f" {last.by} {ACTS[last.act].done}." if last else ""),
            **refusal.facts,
            moved_by=last.by if last else None,
        ) from None
    if asked.act in ("resume", "answer"):
        using.let_go_on(db, loaded, outcome.closes, viewer)
    return write(db, loaded, asked, outcome, viewer, done_at, changes, extra)


def _ticket(db: Session, loaded: Loaded, asked: Asked) -> None:
    """A job ticket of an earlier prescription moves nothing: the shell would be pressed by what no longer holds."""
    if asked.ticket is None:
        return
    holds = orders.holding(db, loaded.row["order_id"]).number
    if asked.ticket != holds:
        raise Unready(
            f"This job ticket shows prescription {asked.ticket}; prescription {holds} holds for {loaded.state.code}. "
            "Print a new ticket and put the old one away.",
            **machine.now(loaded.state),
            prescription=holds,
        )


def write(
    db: Session,
    loaded: Loaded,
    asked: Asked,
    outcome: Outcome,
    by: Viewer,
    done_at: datetime | None = None,
    changes: Mapping[str, Any] | None = None,
    extra: Mapping[str, Any] | None = None,
    takes_back: int | None = None,
) -> Moved:
    """Writes what the machine decided; nothing else in the house inserts a move or changes where a pair stands."""
    row, before, after = loaded.row, loaded.state, outcome.state
    at = clock.now()
    done_at = _done_at(db, row, done_at, at)
    visit_id = _new_visit(db, row, outcome, at) if outcome.new_visit else row["visit_id"]
    words = record.words_of(asked)
    note = journal.keep_words(db, words, row["patient_id"]) if words else None
    written = record.move_row(before, asked, outcome, extra or {}) | {
        "pair_id": row["id"],
        "visit_id": visit_id,
        "note_id": note.id if note else None,
        "note_digest": note.digest if note else None,
        "staff_id": by.staff_id,
        "at": at,
        "done_at": done_at,
        "takes_back": takes_back,
    }
    move_id = db.execute(_MOVE, written).scalar_one()
    db.info.setdefault(COUNTED, []).append(asked.act)
    state = _hold(db, row["id"], asked, outcome, move_id, at, note)
    using.follow(db, loaded, asked, outcome, move_id, done_at, by)
    positives.follow(db, loaded, asked, outcome, move_id, done_at)
    if takes_back is None and not outcome.together:
        _stay(db, row, outcome, move_id, done_at)
    if not outcome.new_visit and (after.route != before.route or after.end):
        ended = {"ended_at": at, "end": after.end} if after.end else {}
        db.execute(update(visit_t).where(visit_t.c.id == visit_id).values(route=list(after.route), **ended))
    values = _stand(db, row, state, outcome, done_at) | dict(changes or {}) | {"visit_id": visit_id}
    if until := _setting_until(db, row, asked, outcome):
        values["not_before"] = until
    values["started_by"] = _at_work(row, state, asked, by)
    if not state.stage == row["stage"] == "wear_in":  # then the review's day stays: see `work_by`
        values["due_on"] = _due(dict(row) | values, db)
    db.execute(_PAIR, {"the_pair": row["id"]} | values)
    _let_know(db, row["id"], before, state, by)
    return Moved(row["id"], row["order_id"], move_id, state)


def _let_know(db: Session, pair_id: int, before: State, after: State, by: Viewer) -> None:
    """For whoever wants to be told, once this is kept: who that is, a higher room knows.

    A question that is open again because its answer was taken back is one that may not have been told.
    """
    if _waits_to_be_dispensed(after) and not _waits_to_be_dispensed(before):
        outbox.put(db, "pair_ready", {"pair": pair_id})
    known = {hold.id for hold in before.holds}
    for hold in after.holds:
        if hold.id not in known and hold.waiting_on == "clinic":
            outbox.put(db, "pair_asked", {"pair": pair_id, "hold": hold.id, "by": by.staff_id})


def _waits_to_be_dispensed(state: State) -> bool:
    return state.stage == "dispense" and not state.holds


def work_by(db: Session, pair_id: int, day: date) -> None:
    """The day the queue is worked by while a pair is worn in: its review's, which a higher room knows."""
    db.execute(_PAIR, {"the_pair": pair_id, "due_on": day})


def _done_at(db: Session, row: RowMapping, done_at: datetime | None, at: datetime) -> datetime:
    if done_at is None:
        return at
    last = db.execute(_LAST_DONE, {"the_pair": row["id"]}).scalar_one()
    if not max(row["since"], last) <= done_at <= at + timedelta(minutes=2):
        words = "The time of doing lies between the pair's last move and now."
        raise BadInput(words, {"done_at": words})
    return min(done_at, at)


def _hold(
    db: Session, pair_id: int, asked: Asked, outcome: Outcome, move_id: int, at: datetime, note: Note | None
) -> State:
    """Opens and closes why the pair stands still; a hold has the number of the move that opened it."""
    if outcome.closes:
        values: dict[str, Any] = {"closed_by": move_id, "closed_at": at}
        if asked.act == "answer" and note:
            values["answer_id"] = note.id
        db.execute(update(hold_t).where(hold_t.c.id.in_(outcome.closes)).values(**values))
    if outcome.opens is None:
        return outcome.state
    db.execute(insert(hold_t), record.hold_row(pair_id, move_id, asked, outcome.opens, note.id if note else None, at))
    holds = tuple(replace(hold, id=move_id) if hold.id == 0 else hold for hold in outcome.state.holds)
    return replace(outcome.state, holds=holds)


def _stay(db: Session, row: RowMapping, outcome: Outcome, move_id: int, left_at: datetime) -> None:
    since = {side: row[f"{SIDE_COLUMNS[side]}_since"] for side in outcome.left}
    if row["not_before"]:  # what sets can't be worked: the time counts from when it could
        here = {side for side, stage in outcome.left.items() if stage == row["stage"]}
        since |= {side: min(max(since[side], row["not_before"]), left_at) for side in here}
    stays = [
        stay
        for each in people.counting(db)
        for stay in record.stay_rows(row["id"], move_id, outcome.left, since, left_at, *each)
    ]
    if stays:
        db.execute(_STAYS, stays)


def _new_visit(db: Session, row: RowMapping, outcome: Outcome, at: datetime) -> int:
    """Ends the visit the pair is on and starts the next, with the clinic's terms as they are now."""
    state = outcome.state
    ended = {"ended_at": at, "end": outcome.new_visit, "promised_on": row["promised_on"]}
    db.execute(update(visit_t).where(visit_t.c.id == row["visit_id"]).values(ended))
    visit = Visit(
        pair_id=row["id"],
        number=row["visit_number"] + 1,
        reason=state.reason,
        way=row["way"],
        route=list(state.route),
        stages_on=sorted(state.terms.stages_on),
        by_parcel=state.terms.by_parcel,
        trims_at_clinic=state.terms.trims_at_clinic,
        started_at=at,
    )
    db.add(visit)
    db.flush()
    return visit.id


def _stand(db: Session, row: RowMapping, state: State, outcome: Outcome, done_at: datetime) -> dict[str, Any]:
    """The pair's columns as the new state has them."""
    values: dict[str, Any] = {"version": state.version, "stage": state.stage, "end": state.end, "reason": state.reason}
    moved = bool(outcome.to_stage or outcome.left)
    if moved:
        values["place"] = state.place
    for side in state.all_sides:
        name, stage = SIDE_COLUMNS[side], state.sides.get(side)
        if stage != row[f"{name}_stage"] or (outcome.new_visit and side in outcome.sides):
            values |= {f"{name}_stage": stage, f"{name}_since": done_at}
    if moved and state.stage != row["stage"]:
        values |= {"since": done_at, "not_before": None}
    first = next(iter(state.stopping), None)
    values["open_holds"] = len(state.holds)
    values["parked_on"] = first.waiting_on if first else None
    if first is None:
        values |= {"parked_since": None, "parked_why": None}
    elif row["parked_on"] is None:
        values |= {"parked_since": done_at, "parked_why": first.kind}
    values["needs"] = needs_now(db, row["order_id"], state)
    return values


def _setting_until(db: Session, row: RowMapping, asked: Asked, outcome: Outcome) -> datetime | None:
    """Until when the work that has just ended sets, that of the side that came first included; None if nothing does."""
    state = outcome.state
    if asked.act != "advance" or state.stage == row["stage"]:
        return None
    if not asked.facts.get("sets_for") and outcome.sides == state.all_sides:
        return None
    steps = queries.steps(db, row["id"])
    gone = {step.takes_back for step in steps}
    ends = [
        step.done_at + timedelta(minutes=step.facts["sets_for"])
        for step in steps
        if step.to_stage == state.stage and step.facts.get("sets_for") and step.id not in gone
    ]
    return max(ends, default=None)


def _at_work(row: RowMapping, state: State, asked: Asked, by: Viewer) -> int | None:
    """Who has begun the work that the pair waits for, if that is said; until it goes on, stops or is put down."""
    if asked.act == "start":
        return by.staff_id
    goes_on = asked.act != "put_down" and state.stage == row["stage"] and not state.stopping
    begun: int | None = row["started_by"]
    return begun if goes_on else None


def needs_now(db: Session, order_id: int, state: State) -> list[str]:
    if state.stage is None or not STAGES[state.stage].bench:
        return []
    return record.needs_at(state, *orders.for_the_bench(db, order_id))


def _due(pair: Mapping[str, Any], db: Session) -> Any:
    """The day the queue is worked by."""
    fitting = pair["fitting_at"]
    day = fitting.astimezone(ZoneInfo(people.lab(db).zone)).date() if fitting else None
    return day or pair["promised_on"] or pair["wanted_on"] or FAR


def _from_history(db: Session, loaded: Loaded, asked: Asked, by: Viewer, done_at: datetime | None) -> Moved:
    """Taking back and reopening go to where the earlier moves lead."""
    state, act = loaded.state, ACTS[asked.act]
    if asked.from_stage != state.stage or asked.version not in (None, state.version):
        raise MovedOn(f"{state.code} was changed meanwhile.", **machine.now(state))
    steps = queries.steps(db, loaded.row["id"])
    last = queries.last_move(db, loaded.row["id"])
    if asked.act == "reopen":
        machine.check(state, asked, by)
        walk, undone = replay([step for step in steps if "end" not in step.facts]), None
    else:
        if last is None or last.staff_id != by.staff_id or last.act not in TAKEN_BACK or last.takes_back:
            raise Unready(f"The last act on {state.code} is not yours to take back.", **machine.now(state))
        if clock.now() - last.at > TAKE_BACK_WITHIN:
            raise Unready(
                f"An act can be taken back for ten minutes; {act.button.lower()} is over.", **machine.now(state)
            )
        walk, undone = replay([step for step in steps if step.id != last.id]), last.id
    return _put_back(db, loaded, asked, walk, undone, by, done_at)


def _put_back(
    db: Session, loaded: Loaded, asked: Asked, walk: Walk, undone: int | None, by: Viewer, done_at: datetime | None
) -> Moved:
    """Stands the pair where `walk` ends. Holds of the undone move are closed, those it had closed are open again."""
    row, before = loaded.row, loaded.state
    pair_id = row["id"]
    if undone is not None:
        db.execute(update(hold_t).where(hold_t.c.closed_by == undone).values(closed_by=None, closed_at=None))
        db.execute(delete(stay_t).where(stay_t.c.move_id == undone))
        using.undo(db, pair_id, undone)
        unmake(db, move_id=undone)
    opened = [hold.id for hold in queries.open_holds(db, pair_id) if hold.id not in walk.holds]
    state = replace(
        before,
        sides=dict(walk.sides),
        route=walk.route,
        end=walk.end,
        holds=tuple(hold for hold in queries.open_holds(db, pair_id) if hold.id in walk.holds),
        version=before.version + 1,
    )
    outcome = Outcome(state, before.all_sides, state.stage, closes=tuple(opened))
    where = {"stages": dict(walk.sides), "route": list(walk.route)}
    moved = write(db, loaded, asked, outcome, by, done_at, extra=where, takes_back=undone)
    if undone is not None and state.stage:
        # What was taken back never happened: each side has been where it is since it came there.
        back = {f"{SIDE_COLUMNS[side]}_since": at for side, at in walk.since.items()}
        here = min(walk.since[side] for side in state.working)
        db.execute(_PAIR, {"the_pair": pair_id, "since": here} | back)
    if row["end"]:
        db.execute(update(visit_t).where(visit_t.c.id == row["visit_id"]).values(ended_at=None, end=None))
    return moved
