"""What a bench does to pairs: one act, whose time of doing may lie back, and a rack advanced in one go; each once."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlmodel import Session

from app import clock
from app.bench import actions as bench
from app.bench import queries
from app.bench.queries import Loaded
from app.bench.rules.acts import ACTS, ENDS
from app.bench.rules.machine import Asked, State
from app.bench.rules.stages import STAGES
from app.desks.actions import do
from app.errors import Refusal
from app.people.rules import Viewer

LONGEST_AGO = timedelta(days=7)
"""A tablet's clock may be wrong: what is said to be older than this counts as done when it was sent."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """An act as a bench asks for it."""

    act: str
    code: str
    stage: str = ""
    """Where the bench believes the pair to be; "" is wherever it stands."""
    to_stage: str = ""
    sides: str = ""
    """What is sent back; "" is every side with work here."""
    reason: str = ""
    waiting_on: str = ""
    ticket: int | None = None
    version: int | None = None
    sets_for: int = 0
    lots: tuple[int, ...] = ()


def do_once(
    db: Session, wanted: Wanted, *, by: Viewer, key: str | None, ago: timedelta = timedelta()
) -> dict[str, Any]:
    """Does it, however often it is sent under this key; answers how a bench is to be told."""
    _, answer = bench.once(db, staff_id=by.staff_id, key=key, body=asdict(wanted), act=lambda: _do(db, wanted, by, ago))
    return answer


def rack_once(
    db: Session, wanted: Sequence[Wanted], *, by: Viewer, key: str | None, ago: timedelta = timedelta()
) -> dict[str, Any]:
    """Does all of these that may be done in one transaction, and says of each other one why it may not."""
    body = {"rack": [asdict(each) for each in wanted]}
    _, answer = bench.once(db, staff_id=by.staff_id, key=key, body=body, act=lambda: _rack(db, wanted, by, ago))
    return answer


def _rack(db: Session, wanted: Sequence[Wanted], by: Viewer, ago: timedelta) -> dict[str, Any]:
    left: dict[str, str] = {}
    for each in sorted(wanted, key=lambda one: one.code):  # pairs are locked in the order of their codes
        try:
            with db.begin_nested():
                _do(db, each, by, ago)
        except Refusal as refusal:
            left[each.code] = refusal.sentence
    done = [each.code for each in wanted if each.code not in left]
    words = f"{len(done)} of {len(wanted)} done." if left else f"All {len(wanted)} done."
    return {"kind": "refused" if left else "done", "sentence": words, "done": done, "left": left}


def _do(db: Session, wanted: Wanted, by: Viewer, ago: timedelta) -> dict[str, Any]:
    loaded = queries.find(db, wanted.code, by, lock=True)
    asked = _asked(wanted, loaded)
    moved = do(db, code=wanted.code, asked=asked, by=by, done_at=_done_at(db, loaded, ago))
    state = moved.state
    told = {"kind": "done" if wanted.act == "advance" else "noted", "sentence": _told(asked, state)}
    return told | {"code": state.code, "stage": state.stage, "version": state.version}


def _asked(wanted: Wanted, loaded: Loaded) -> Asked:
    state = loaded.state
    facts: dict[str, Any] = {"lots": list(wanted.lots)} if wanted.lots else {}
    # What sets does so before the next stage: work over several leaves nothing that sets at the first of them.
    if wanted.act == "advance" and wanted.sets_for and not wanted.to_stage:
        facts["sets_for"] = wanted.sets_for
    return Asked(
        act=wanted.act,
        from_stage=wanted.stage if wanted.stage and wanted.act != "take_back" else state.stage,
        to_stage=wanted.to_stage or None,
        sides=(wanted.sides or state.working) if wanted.act == "send_back" else None,
        reason=wanted.reason or None,
        waiting_on=wanted.waiting_on or None,
        version=wanted.version,
        ticket=wanted.ticket,
        facts=facts,
    )


def _done_at(db: Session, loaded: Loaded, ago: timedelta) -> datetime | None:
    """As far back as the pair has stood as it does; None for just now."""
    if not timedelta(seconds=1) < ago <= LONGEST_AGO:
        return None
    last = queries.last_move(db, loaded.row["id"])
    since: datetime = loaded.row["since"]
    return max(clock.now() - ago, since, last.done_at if last else since)


def _told(asked: Asked, state: State) -> str:
    where = f"It waits at {STAGES[state.stage].queue} now." if state.stage else f"It is {ENDS[str(state.end)]}."
    if asked.act == "advance" and asked.from_stage:
        return f"{STAGES[asked.from_stage].done}. {where}"
    if asked.act in ("park", "send_back"):
        reason = ACTS[asked.act].reasons.get(str(asked.reason), "")
        waits = f"waits on the {asked.waiting_on}" if asked.act == "park" else f"to {STAGES[str(state.stage)].queue}"
        return f"{ACTS[asked.act].button}: {reason}; {waits}."
    return f"{ACTS[asked.act].done.capitalize()}. {where}"
