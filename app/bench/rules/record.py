"""What an act leaves behind, as plain values: the move with its facts, why the pair stands still, stays, bench needs.

The acts write these rows one by one (app/bench/actions/moving.py), invented pairs are written in bulk: both alike.
"""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from app.bench.rules.acts import ACTS
from app.bench.rules.machine import Asked, Hold, Outcome, State
from app.bench.rules.stages import STAGES
from app.orders.rules import Body, bench_marks, needs
from app.trade.worktime import WorkCalendar

Row = dict[str, Any]
TOUCHES_SKIN = frozenset({"grind", "cover", "trim", "inspect"})
"""Stages whose edges and seams a foot without feeling would not notice."""


def move_row(before: State, asked: Asked, outcome: Outcome, extra: Mapping[str, Any]) -> Row:
    """The move without its ids and times. `extra` are facts that rooms add to those the act keeps."""
    act = ACTS[asked.act]
    facts = {key: value for key, value in asked.facts.items() if key in act.keeps}
    return {
        "version": outcome.state.version,
        "act": asked.act,
        "from_stage": before.stage,
        "to_stage": outcome.to_stage,
        "sides": outcome.sides,
        "reason": asked.reason if act.reasons else None,
        "together": outcome.together,
        "facts": {**facts, **extra, **_walked(before, outcome)},
    }


def _walked(before: State, outcome: Outcome) -> Row:
    """The facts by which a move can be walked again: see app/bench/rules/replay.py."""
    after = outcome.state
    facts: Row = {}
    if after.route != before.route or outcome.new_visit:
        facts["route"] = list(after.route)
    if outcome.to_stage and any(after.sides[side] != outcome.to_stage for side in outcome.sides):
        facts["stages"] = dict(after.sides)
    if outcome.new_visit:
        facts["stages"] = dict(after.sides)
    if outcome.opens:
        facts["opens"] = True
    if outcome.closes:
        facts["closes"] = list(outcome.closes)
    if after.end and after.end != before.end:
        facts["end"] = after.end
    return facts


def words_of(asked: Asked) -> str:
    """What becomes the move's note: the words that came with it, or the reason where reasons have no codes."""
    coded = bool(ACTS[asked.act].reasons)
    return (str(asked.facts.get("words") or "") or ("" if coded else asked.reason or "")).strip()[:4000]


def hold_row(pair_id: int, move_id: int, asked: Asked, opened: Hold, note_id: int | None, at: datetime) -> Row:
    """A hold has the number of the move that opened it."""
    return {
        "id": move_id,
        "pair_id": pair_id,
        "kind": opened.kind,
        "reason": asked.reason if ACTS[asked.act].reasons else None,
        "waiting_on": opened.waiting_on,
        "before": opened.before,
        "note_id": note_id,
        "opened_at": at,
    }


def stay_rows(
    pair_id: int,
    move_id: int,
    left: Mapping[str, str],
    since: Mapping[str, datetime],
    left_at: datetime,
    calendar_id: int,
    calendar: WorkCalendar,
) -> list[Row]:
    """The time of each side at the stage it has just left; bench stages in working minutes, others by the clock."""
    local = left_at.astimezone(ZoneInfo(calendar.zone))
    rows = []
    for side, stage in left.items():
        entered = since[side]
        elapsed = int((left_at - entered).total_seconds() // 60)
        rows.append(
            {
                "calendar_id": calendar_id,
                "move_id": move_id,
                "side": side,
                "pair_id": pair_id,
                "stage": stage,
                "month": local.year * 100 + local.month,
                "minutes": calendar.minutes_between(entered, left_at) if STAGES[stage].bench else elapsed,
                "entered_at": entered,
                "left_at": left_at,
            }
        )
    return rows


def shown_at(state: State) -> list[str]:
    """The stages whose work is looked up where the pair stands: its own, and those before it that are switched off."""
    if state.stage is None or not STAGES[state.stage].bench:
        return []
    before = list(STAGES)[: list(STAGES).index(state.stage)]
    skipped = []
    for stage in reversed(before):
        if stage in state.route or not STAGES[stage].optional:
            break
        skipped.append(stage)
    return [state.stage, *skipped]


def needs_at(state: State, body: Body, risks: Iterable[str]) -> list[str]:
    """What the bench needs at the pair's stage; a switched-off stage's needs stand at the next one."""
    shown = shown_at(state)
    if not shown:
        return []
    lines = needs(body, shown[0], state.working, shown[1:])
    if TOUCHES_SKIN.intersection(shown):
        lines += bench_marks(risks)
    return lines
