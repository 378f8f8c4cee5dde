"""Walks a pair's moves from the first and says where they lead: for taking back, reopening, and for proving the log."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, NamedTuple

from app.bench.rules.stages import earliest


class Step(NamedTuple):
    """One move, as much of it as the walk needs.

    `to_stage` is empty for acts that move nothing. `facts` may hold `route` (it changed), `stages` (sides that went
    elsewhere than to_stage), `opens` (it opened a hold) and `closes` (ids of holds), `end`.
    """

    id: int
    act: str
    from_stage: str | None
    to_stage: str | None
    sides: str
    done_at: datetime
    takes_back: int | None
    facts: Mapping[str, Any]


@dataclass
class Walk:
    """Where a pair stands after its moves: each side's stage and since when, its route, what holds it, its end."""

    sides: dict[str, str] = field(default_factory=dict)
    since: dict[str, datetime] = field(default_factory=dict)
    route: tuple[str, ...] = ()
    holds: tuple[int, ...] = ()
    end: str | None = None

    @property
    def stage(self) -> str | None:
        return earliest(self.sides.values(), self.route) if self.sides else None


def replay(steps: Sequence[Step]) -> Walk:
    """A move that was taken back counts as never made, and neither does the one that took it back."""
    gone = {step.takes_back for step in steps if step.takes_back}
    walk = Walk()
    for step in steps:
        if step.id not in gone and not step.takes_back:
            _follow(walk, step)
    return walk


def _follow(walk: Walk, step: Step) -> None:
    facts = step.facts
    walk.route = tuple(facts.get("route", walk.route))
    if "end" in facts:
        walk.sides, walk.since, walk.holds, walk.end = {}, {}, (), facts["end"]
        return
    closed = facts.get("closes", ())
    walk.holds = tuple(hold for hold in walk.holds if hold not in closed)
    if facts.get("opens"):
        walk.holds += (step.id,)  # a hold has the number of the move that opened it
    if step.to_stage is None:
        return
    walk.end = None
    for side, stage in (facts.get("stages") or dict.fromkeys(step.sides, step.to_stage)).items():
        if walk.sides.get(side) != stage:
            walk.sides[side], walk.since[side] = stage, step.done_at
