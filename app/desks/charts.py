"""The recurring mark, the trail, as rows for its template: the lab's line of queues, and one pair's way."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from app.bench.queries import SIDE_COLUMNS, Count, Loaded, Waiting
from app.bench.rules.stages import STAGES
from app.bench.tables import Stay
from app.trade.worktime import WorkCalendar, words


@dataclass(frozen=True, slots=True)
class Step:
    """A step as the trail's template wants it; each side walked, here, come or none."""

    left: str
    right: str
    label: str
    sub: str
    href: str = ""
    count: int | None = None


def lab_trail(
    counts: Mapping[str, Waiting | Count], calendar: WorkCalendar, now: datetime, here: str | None = None
) -> list[Step]:
    """Every stage that has pairs (and the one looked at), with how many and the age of the oldest."""
    steps = []
    for key, stage in STAGES.items():
        count = counts.get(key)
        if count is None and key != here:
            continue
        state = "here" if key == here else "come"
        oldest = f"oldest {age(key, count.oldest, now, calendar)}" if count and count.pairs else ""
        if count and not count.pairs:
            oldest = f"{count.setting} setting"
        steps.append(Step(state, state, stage.queue, oldest, f"/queue/{key}", count.pairs if count else 0))
    return steps


def pair_trail(loaded: Loaded, stays: Sequence[Stay], calendar: WorkCalendar, now: datetime) -> list[Step]:
    """The steps of the pair's visit, each side by its own state, with the time it took or takes."""
    row, state = loaded.row, loaded.state
    took: dict[str, int] = {}
    for stay in stays:
        took[stay.stage] = max(took.get(stay.stage, 0), stay.minutes)
    steps = []
    for index, key in enumerate(state.route):
        sides = {side: _side_state(loaded, side, index) for side in ("L", "R")}
        sub = ""
        if key in state.sides.values():
            since = min(row[f"{SIDE_COLUMNS[side]}_since"] for side, at in state.sides.items() if at == key)
            sub = f"{age(key, since, now, calendar)} so far"
        elif key in took:
            sub = _spent(key, took[key], calendar)
        done = set(sides.values()) <= {"walked", "none"}
        steps.append(Step(sides["L"], sides["R"], STAGES[key].done if done else STAGES[key].queue, sub))
    return steps


def _side_state(loaded: Loaded, side: str, index: int) -> str:
    state = loaded.state
    if side not in state.all_sides:
        return "none"
    if state.stage is None:
        return "walked" if state.end == "settled" else "come"
    at = state.route.index(state.sides[side])
    return "walked" if index < at else "here" if index == at else "come"


def age(stage: str, since: datetime, now: datetime, calendar: WorkCalendar) -> str:
    """Working time at the bench, calendar time where the clock runs day and night."""
    if STAGES[stage].bench:
        return words(calendar.minutes_between(since, now), calendar.standard_day_minutes())
    return words(max(0, int((now - since).total_seconds() // 60)), 24 * 60)


def _spent(stage: str, minutes: int, calendar: WorkCalendar) -> str:
    return words(minutes, calendar.standard_day_minutes() if STAGES[stage].bench else 24 * 60)
