"""What an act does to a pair: a state and a request in, a new state out, or a refusal that says what stands in the way.

Who may is `may`, when it may be is `decide`; a page asks both for the sentence on a disabled button.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from app.bench.rules.acts import ACTS, ENDS, WAITING_ON, Act, owners
from app.bench.rules.stages import (
    MOST_SETTING_MINUTES,
    STAGES,
    Place,
    Terms,
    adjustment_route,
    back_route,
    earliest,
    joins_at,
    place_of,
    refurbishment_route,
)
from app.errors import BadInput, MovedOn, NotAllowed, Unready
from app.people.rules import Viewer

SIDE_WORDS = {"L": "left", "R": "right", "LR": "left and right"}


@dataclass(frozen=True, slots=True)
class Hold:
    """What is open on a pair, and on whom it waits. `kind`: question, reason, prescription or capture."""

    id: int
    kind: str
    waiting_on: str
    before: str | None = None
    """The stage up to which the pair goes on all the same; None stops it where it is."""


@dataclass(frozen=True, slots=True)
class State:
    """A pair as the machine sees it. `sides` maps L and R to the stage each waits for; empty once it has ended."""

    code: str
    sides: Mapping[str, str]
    all_sides: str
    route: tuple[str, ...]
    terms: Terms
    reason: str = "new"
    end: str | None = None
    holds: tuple[Hold, ...] = ()
    version: int = 0

    @property
    def stage(self) -> str | None:
        return earliest(self.sides.values(), self.route) if self.sides else None

    @property
    def place(self) -> Place:
        return place_of(self.stage, self.route, self.terms) if self.stage else "clinic"

    @property
    def working(self) -> str:
        """The sides with work at the pair's stage."""
        return "".join(side for side, stage in self.sides.items() if stage == self.stage)

    @property
    def stopping(self) -> tuple[Hold, ...]:
        """Those of the open ones for which it stands still where it is now."""
        return tuple(hold for hold in self.holds if self._stops(hold))

    def _stops(self, hold: Hold) -> bool:
        if hold.before not in self.route or self.stage is None:
            return True
        return self.route.index(self.stage) >= self.route.index(hold.before)

    @property
    def waiting_on(self) -> frozenset[str]:
        return frozenset(hold.waiting_on for hold in self.holds)


@dataclass(frozen=True, slots=True)
class Asked:
    """One request, as a person, a scan or the API makes it."""

    act: str
    from_stage: str | None
    to_stage: str | None = None
    sides: str | None = None
    reason: str | None = None
    waiting_on: str | None = None
    version: int | None = None
    ticket: int | None = None
    """The prescription's number on the job ticket that was scanned, if one was."""
    facts: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Outcome:
    """The state after the act, and what the move records: which sides went from where to where."""

    state: State
    sides: str
    to_stage: str | None
    """Where `sides` went; empty when nothing moved or the pair has ended."""
    left: Mapping[str, str] = field(default_factory=dict)
    """Side to the stage it has left: what becomes a stay."""
    together: bool = False
    closes: tuple[int, ...] = ()
    opens: Hold | None = None
    new_visit: str | None = None


def find(act: str) -> Act:
    if act not in ACTS:
        raise BadInput(f"There is no act '{act}'.", {"act": f"One of {', '.join(ACTS)}."})
    return ACTS[act]


def may(state: State, act: Act, viewer: Viewer) -> str | None:
    """Why this person may not do `act` to the pair as it stands; None when they may."""
    roles = owners(act, state.stage, state.place, state.waiting_on, not state.terms.by_parcel)
    if viewer.has(*roles):
        return None
    if act.owner == "waited on" and not roles:
        return f"Nothing is open on {state.code}, so there is nothing to answer."
    who = " or a ".join(sorted(roles))
    return f"'{act.button}' belongs to a {who} while {state.code} stands at {_words(state.stage)}."


def when(state: State, act: Act) -> str | None:
    """Why `act` can't be done to the pair as it stands, by anyone; None when it can."""
    if state.stage is None:
        if state.end in act.after:
            return None
        return f"{state.code} is {ENDS.get(str(state.end), 'at its end')}; '{act.button}' is no longer possible."
    if state.stage not in act.at:
        return f"{state.code} stands at {_words(state.stage)}; '{act.button}' is not possible there."
    if (stopping := state.stopping) and not act.parked:
        waits = " and the ".join(sorted({hold.waiting_on for hold in stopping}))
        return f"{state.code} is parked and waits on the {waits}; '{act.button}' is possible once it goes on."
    if act.key in ("answer", "resume") and not state.holds:
        return f"Nothing is open on {state.code}; there is nothing to {'answer' if act.key == 'answer' else 'resume'}."
    return None


def decide(state: State, asked: Asked, viewer: Viewer) -> Outcome:
    """The one question everything asks: buttons, API, tests. Raises the refusal that explains itself."""
    check(state, asked, viewer)
    return EFFECTS.get(asked.act, _nothing)(state, asked)


def check(state: State, asked: Asked, viewer: Viewer) -> None:
    """Refuses what is out of date, not possible now, not this person's, or incomplete, in that order."""
    act = find(asked.act)
    if asked.version is not None and asked.version != state.version:
        raise MovedOn(f"{state.code} was changed meanwhile; it now stands at {_words(state.stage)}.", **now(state))
    if asked.from_stage != state.stage:
        where = f"stands at {_words(state.stage)}, not at {_words(asked.from_stage)}"
        raise MovedOn(f"{state.code} {where}.", **now(state))
    if sentence := when(state, act):
        raise Unready(sentence, **now(state))
    if sentence := may(state, act, viewer):
        raise NotAllowed(sentence)
    _complete(state, act, asked)


def now(state: State) -> dict[str, Any]:
    return {"stage": state.stage, "version": state.version, "end": state.end}


def _complete(state: State, act: Act, asked: Asked) -> None:
    """Refuses a request with parts missing or unknown, every part named at once."""
    wrong: dict[str, str] = {}
    for need in act.needs:
        if need in ("reason", "to_stage", "waiting_on", "facts") and not getattr(asked, need):
            wrong[need] = f"'{act.button}' needs {_NEEDED[need]}."
        elif need in ("sides", "one side") and not asked.sides:
            wrong["sides"] = f"'{act.button}' needs the sides it is about: L, R or LR."
        elif need == "one side" and len(asked.sides or "") != 1:
            wrong["sides"] = f"'{act.button}' is about one side: L or R."
        elif need == "code" and str(asked.facts.get("code", "")).upper() != state.code:
            wrong["code"] = f"Type the pair's code, {state.code}, to confirm. It can't be undone by taking it back."
    if asked.reason and act.reasons and asked.reason not in act.reasons:
        wrong["reason"] = f"'{asked.reason}' is not a reason for '{act.button}'. One of {', '.join(act.reasons)}."
    if asked.sides is not None and (not asked.sides or set(asked.sides) - set(state.all_sides)):
        wrong["sides"] = f"{state.code} has {SIDE_WORDS[state.all_sides]}; '{asked.sides}' is not part of it."
    if asked.to_stage is not None and asked.to_stage not in STAGES:
        wrong["to_stage"] = f"There is no stage '{asked.to_stage}'."
    if asked.waiting_on is not None and asked.waiting_on not in WAITING_ON:
        wrong["waiting_on"] = f"A pair can wait on {', '.join(WAITING_ON)}; '{asked.waiting_on}' is none of them."
    for name in set(asked.facts) - {"words", "code", *act.keeps}:
        wrong[f"facts.{name}"] = f"'{act.button}' has no fact '{name}'."
    if wrong:
        raise BadInput(" ".join(wrong.values()), wrong)


_NEEDED = {
    "reason": "a reason",
    "to_stage": "the stage it goes to",
    "waiting_on": "whom it waits on",
    "facts": "its facts",
}


def _words(stage: str | None) -> str:
    return f"'{STAGES[stage].queue}'" if stage in STAGES else "its end"


def _moved(state: State, sides: str, to_stage: str, **more: Any) -> Outcome:
    """Puts `sides` at `to_stage`, keeping left before right."""
    left = {side: state.sides[side] for side in sides if side in state.sides}
    stages = {side: to_stage if side in sides else state.sides[side] for side in state.all_sides}
    after = replace(state, sides=stages, version=state.version + 1, **more.pop("become", {}))
    return Outcome(after, sides, to_stage, left, **more)


def _nothing(state: State, asked: Asked) -> Outcome:
    """Acts that are told and remembered but move nothing."""
    after = replace(state, version=state.version + 1)
    return Outcome(after, asked.sides or state.all_sides, None)


def _ended(state: State, end: str) -> Outcome:
    after = replace(state, sides={}, end=end, holds=(), version=state.version + 1)
    return Outcome(after, state.all_sides, None, dict(state.sides), closes=tuple(hold.id for hold in state.holds))


def _check_setting(state: State, asked: Asked) -> None:
    """`sets_for` are minutes, and only where something sets."""
    minutes = asked.facts.get("sets_for")
    if minutes is None:
        return
    stage = STAGES[str(state.stage)]
    if not stage.sets:
        words = f"Nothing sets or cures after {_words(stage.key)}."
    elif not isinstance(minutes, int) or isinstance(minutes, bool) or not 1 <= minutes <= MOST_SETTING_MINUTES:
        words = (
            f"{stage.sets} a whole number of minutes, from 1 to {MOST_SETTING_MINUTES}; '{str(minutes)[:20]}' is not."
        )
    else:
        return
    raise BadInput(words, {"sets_for": words})


def _advance(state: State, asked: Asked) -> Outcome:
    _check_setting(state, asked)
    here = state.route.index(str(state.stage))
    there = state.route.index(asked.to_stage) if asked.to_stage in state.route else None
    if asked.to_stage is None:
        there = here + 1
    if there is None or there <= here or there > state.route.index("dispense"):
        later = ", ".join(state.route[here + 1 : state.route.index("dispense") + 1])
        raise BadInput(f"{state.code} can go on to {later}.", {"to_stage": f"One of {later}."})
    if stop := next((hold for hold in state.holds if _passed(state, hold, there)), None):
        words = f"{state.code} has an open question that stops it before {_words(stop.before)}; it goes up to there."
        raise Unready(words, **now(state))
    sides = asked.sides or state.working
    if set(sides) - set(state.working):
        waiting = SIDE_WORDS["".join(s for s in state.all_sides if s not in state.working)]
        raise Unready(f"The {waiting} of {state.code} has no work at {_words(state.stage)}.", **now(state))
    return _moved(state, sides, state.route[there], together=there > here + 1)


def _passed(state: State, hold: Hold, there: int) -> bool:
    """Whether work over several stages would run past the one that an open question stops before."""
    return hold.before in state.route and there > state.route.index(str(hold.before))


def _send_back(state: State, asked: Asked) -> Outcome:
    target, sides = str(asked.to_stage), str(asked.sides)
    if target in ("return", "send", "receive") or target not in state.route:
        raise BadInput(f"{state.code} does not pass {_words(target)}.", {"to_stage": "An earlier stage of its route."})
    index = state.route.index(target)
    late = [side for side in sides if state.route.index(state.sides[side]) <= index]
    if late:
        raise Unready(f"The {SIDE_WORDS[late[0]]} of {state.code} has not passed {_words(target)} yet.", **now(state))
    if asked.reason == "too_short" and target == "trim":
        raise BadInput(
            "A trim can't be added back: a cover that is too short goes back to cover.", {"to_stage": "cover"}
        )
    closes = tuple(hold.id for hold in state.holds if hold.kind == "prescription")
    become: dict[str, Any] = {"holds": tuple(hold for hold in state.holds if hold.id not in closes)}
    away = state.place == "clinic" and state.terms.by_parcel
    if away and place_of(target, state.route, state.terms) != "clinic":
        become["route"] = _returning(state, target, sides)
        target = "return"
    return _moved(state, sides, target, closes=closes, become=become)


def _returning(state: State, target: str, sides: str) -> tuple[str, ...]:
    """The route back through the lab; a side that stays at the clinic waits there for the other."""
    route = back_route(state.route, target)
    strayed = [s for side, s in state.sides.items() if side not in sides and s not in route]
    if strayed:
        raise Unready(f"{state.code} has a side at {_words(strayed[0])}; send back both.", **now(state))
    return route


def _stand_still(state: State, asked: Asked) -> Outcome:
    kind = "question" if asked.act == "ask" else "prescription" if asked.act == "amend" else "reason"
    on = asked.waiting_on or ("lab" if asked.act == "amend" else "clinic")
    hold = Hold(0, kind, on, _before(state, asked))
    after = replace(state, holds=(*state.holds, hold), version=state.version + 1)
    return Outcome(after, asked.sides or state.all_sides, None, opens=hold)


def _before(state: State, asked: Asked) -> str | None:
    """The stage that a question stops before, if not where the pair stands: one that is still to come."""
    before = asked.facts.get("before")
    if before is None:
        return None
    later = state.route[state.route.index(str(state.stage)) + 1 :] if state.stage in state.route else ()
    if before not in later:
        words = f"{state.code} can be stopped before {', '.join(later)}."
        raise BadInput(words, {"before": words})
    return str(before)


def _amend(state: State, asked: Asked) -> Outcome:
    """Before check-in nothing is on the bench, so a change stops nothing."""
    return _nothing(state, asked) if state.stage == "check_in" else _stand_still(state, asked)


def _go_on(state: State, asked: Asked) -> Outcome:
    """Closes the holds that `facts.holds` names, or all that this act can close; it goes on when the last is closed.

    An answer with `facts.stays` is told and closes nothing: what was asked stays open until somebody lets it go on.
    """
    if asked.act == "answer" and asked.facts.get("stays"):
        return _nothing(state, asked)
    wanted = set(asked.facts.get("holds") or [hold.id for hold in state.holds])
    closes = tuple(hold.id for hold in state.holds if hold.id in wanted)
    if wanted - set(closes):
        raise Unready(f"Some of this is no longer open on {state.code}.", **now(state))
    holds = tuple(hold for hold in state.holds if hold.id not in wanted)
    after = replace(state, holds=holds, version=state.version + 1)
    return Outcome(after, state.all_sides, None, closes=closes)


def _recapture(state: State, asked: Asked) -> Outcome:
    """The side waits at check-in for its new capture and the pair stands still until the clinic has answered."""
    sides = str(asked.sides)
    become: dict[str, Any] = {"holds": (*state.holds, hold := Hold(0, "capture", "clinic"))}
    if "check_in" not in state.route:
        become["route"] = ("check_in", *state.route)
    return _moved(state, sides, "check_in", opens=hold, become=become)


def _dispense(state: State, _asked: Asked) -> Outcome:
    if "wear_in" not in state.route:
        return _ended(state, "settled")
    return _moved(state, state.all_sides, "wear_in")


def _adjust(state: State, asked: Asked) -> Outcome:
    where = asked.facts.get("where")
    if where == "here":
        return _nothing(state, asked)
    stages = asked.facts.get("stages") or []
    if where != "lab" or not stages:
        words = "Say where: 'here', or 'lab' with the stages it needs."
        raise BadInput(words, {"where": words})
    return _new_visit(state, adjustment_route(stages, state.terms), str(asked.sides), "adjustment")


def _refurbish(state: State, asked: Asked) -> Outcome:
    return _new_visit(state, refurbishment_route(state.terms), asked.sides or state.all_sides, "refurbishment")


def _new_visit(state: State, route: tuple[str, ...], sides: str, reason: str) -> Outcome:
    """Starts a visit: `sides` at its first stage, the other carried along to where they meet again."""
    stages = {side: route[0] if side in sides else joins_at(route) for side in state.all_sides}
    after = replace(state, sides=stages, route=route, reason=reason, end=None, version=state.version + 1)
    return Outcome(after, sides, route[0], dict(state.sides), new_visit=reason)


EFFECTS: dict[str, Callable[[State, Asked], Outcome]] = {
    "advance": _advance,
    "send_back": _send_back,
    "park": _stand_still,
    "ask": _stand_still,
    "amend": _amend,
    "answer": _go_on,
    "resume": _go_on,
    "recapture": _recapture,
    "dispense": _dispense,
    "adjust": _adjust,
    "refurbish": _refurbish,
    "remake": lambda state, _: _ended(state, "replaced"),
    "settle": lambda state, _: _ended(state, "settled"),
    "withdraw": lambda state, _: _ended(state, "withdrawn"),
    "close": lambda state, _: _ended(state, "closed"),
    "uncollected": lambda state, _: _ended(state, "uncollected"),
}
"""What an act does; one that is not named here is told and remembered and moves nothing."""
