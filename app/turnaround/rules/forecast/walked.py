"""From a pair's moves to where it stood at an instant, and to when it came to the clinic after it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import NamedTuple

from app.bench.rules.replay import Step, Walk, replay
from app.turnaround.rules.forecast.line import rest
from app.turnaround.rules.forecast.standing import Standing

FAR = date.max
AT_CLINIC = ("dispense", "wear_in")


class HeldFor(NamedTuple):
    """A hold: on whom it waits, and the stage up to which the pair goes on all the same."""

    waiting_on: str
    before: str | None
    opened_at: datetime
    closed_at: datetime | None


@dataclass(frozen=True, slots=True)
class Walked:
    """A pair's moves up to now, each with when it was written, and what stands beside them."""

    pair_id: int
    code: str
    clinic_id: int
    way: str
    trims_at_clinic: bool
    started_at: datetime
    wanted_on: date | None
    promised_on: date | None
    fitting_on: date | None
    rush: bool
    steps: Sequence[tuple[datetime, Step]]
    holds: Mapping[int, HeldFor]


def standing(pair: Walked, at: datetime) -> Standing | None:
    """As it stood at `at`, by what had been written by then; None where it was at the clinic, or over."""
    steps = [step for written, step in pair.steps if written <= at]
    walk = replay(steps)
    if walk.stage is None or walk.stage in AT_CLINIC:
        return None
    places = rest(walk.route, walk.stage, pair.trims_at_clinic)
    if not places:
        return None
    promised = _promised(pair, steps)
    stops = _stops(pair, walk)
    return Standing(
        pair_id=pair.pair_id,
        code=pair.code,
        clinic_id=pair.clinic_id,
        way=pair.way,
        places=places,
        since=_since(pair, walk, steps, at),
        due_on=pair.fitting_on or promised or pair.wanted_on or FAR,
        promised_on=promised,
        waits_on=stops.waiting_on if stops else None,
        held_since=stops.opened_at if stops else None,
        started_at=pair.started_at,
        steps=len(rest(walk.route, walk.route[0], pair.trims_at_clinic)),
        rush=pair.rush,
    )


def arrival(pair: Walked, at: datetime) -> datetime | None:
    """When it first stood at To dispense after `at`; None where it has not."""
    known = [step for _, step in pair.steps]
    for number, (written, step) in enumerate(pair.steps):
        if written > at and step.to_stage and replay(known[: number + 1]).stage == "dispense":
            return step.done_at
    return None


def ended(pair: Walked) -> bool:
    """Over for good, on whichever way."""
    return replay([step for _, step in pair.steps]).end is not None


def _since(pair: Walked, walk: Walk, steps: Sequence[Step], at: datetime) -> datetime:
    """Since its last side came, since plaster or glue had set, or since what it stood still for was over."""
    came = max(when for side, when in walk.since.items() if walk.sides[side] == walk.stage)
    sets = [
        step.done_at + timedelta(minutes=step.facts["sets_for"])
        for step in steps
        if step.to_stage == walk.stage and step.facts.get("sets_for") and step.done_at >= came
    ]
    over = [hold.closed_at for hold in pair.holds.values() if hold.closed_at and came < hold.closed_at <= at]
    return max([came, *sets, *over])


def _stops(pair: Walked, walk: Walk) -> HeldFor | None:
    """The oldest of what it stands still for where it is."""
    here = walk.route.index(str(walk.stage))
    found = [pair.holds[number] for number in walk.holds if number in pair.holds]
    stopping = [hold for hold in found if hold.before not in walk.route or here >= walk.route.index(hold.before)]
    return min(stopping, key=lambda hold: hold.opened_at, default=None)


def _promised(pair: Walked, steps: Sequence[Step]) -> date | None:
    """The day that held then: what was promised later was not known. Before it was checked in there was none."""
    days = [(step.id, date.fromisoformat(step.facts["day"])) for _, step in pair.steps if step.act == "promise"]
    known = {step.id for step in steps}
    if days:
        mine = [day for number, day in days if number in known]
        return mine[-1] if mine else None
    checked_in = any(step.from_stage == "check_in" and step.to_stage for step in steps)
    started_later = all(step.from_stage is not None or step.to_stage != "check_in" for step in steps)
    return pair.promised_on if checked_in or started_later else None
