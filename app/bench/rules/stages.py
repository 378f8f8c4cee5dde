"""Which stages there are, in which order a visit walks them, and where a pair is while it waits for each."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Literal

Place = Literal["lab", "way", "clinic"]
SIDES = ("L", "R")


@dataclass(frozen=True, slots=True)
class Stage:
    key: str
    queue: str
    """What the pair waits for, as the queue's title."""
    done: str
    """The same work when it is done, as on the button and in the trail."""
    optional: bool = False
    """A lab switches these on or off."""
    bench: bool = True
    """Counted in working time; the others (transit, dispensing, wearing in) in calendar time."""
    cautions: tuple[str, ...] = ()
    sets: str = ""
    """What sets or cures once this work is done; empty where nothing does."""
    sets_minutes: int = 0
    """Offered on the form, for the technician to change."""


MOST_SETTING_MINUTES = 72 * 60
_GRINDER = (
    "Grinder: eye protection, extraction and a mask; no gloves or loose sleeves at a rotating tool; hair tied back."
)
_PLASTER = "Plaster dust: use the extraction. Setting plaster gets hot enough to burn skin."
_HEAT = (
    "Oven and press: dry heat gloves and forearm cover. Overheated plastic gives off fumes: follow the sheet's data."
)
_GLUE = "Adhesives: solvent vapour. Ventilate, no ignition, closed lids."

STAGES: dict[str, Stage] = {
    stage.key: stage
    for stage in (
        Stage("check_in", "To check in", "Checked in"),
        Stage("prepare", "To prepare", "Prepared", optional=True),
        # Setting times: common practice, no source; the pack's own instructions hold.
        Stage("pour", "To pour", "Poured", cautions=(_PLASTER,), sets="Plaster sets for", sets_minutes=45),
        Stage("carve", "To carve", "Carved", cautions=(_GRINDER,)),
        Stage("correct", "To correct", "Corrected", optional=True, cautions=(_PLASTER,)),
        Stage("press", "To press", "Pressed", cautions=(_HEAT,)),
        Stage("mill", "To mill or print", "Milled or printed", cautions=(_GRINDER,)),
        Stage("grind", "To grind", "Ground", optional=True, cautions=(_GRINDER,)),
        Stage("cover", "To cover", "Covered", cautions=(_GLUE,), sets="Glue cures for", sets_minutes=30),
        Stage("trim", "To trim", "Trimmed", cautions=(_GRINDER,)),
        Stage("inspect", "To inspect", "Inspected", optional=True),
        Stage("send", "To send", "Sent"),
        Stage("receive", "To receive", "Received", bench=False),
        Stage("return", "To come back", "Sent back to the lab", bench=False),
        Stage("dispense", "To dispense", "Dispensed", bench=False),
        Stage("wear_in", "Wearing in", "Worn in", bench=False),
    )
}
OPTIONAL = tuple(stage.key for stage in STAGES.values() if stage.optional)

WAYS: dict[str, tuple[str, ...]] = {
    "cast": ("check_in", "pour", "correct", "press", "grind", "cover"),
    "carved": ("check_in", "prepare", "carve", "correct", "press", "grind", "cover"),
    "direct": ("check_in", "prepare", "mill", "grind", "cover"),
}
"""How a capture becomes a covered device; the way on to the wearer is `_onward`."""
WAY_WORDS = {
    "cast": "Cast, poured in plaster",
    "carved": "Scan, positive carved",
    "direct": "Scan, milled or printed",
}
STANDARD_DAYS = {"cast": 10, "carved": 9, "direct": 7}
"""Working days promised when the lab has set none of its own; invented defaults, each lab's to change."""
MAKING = ("prepare", "pour", "carve", "correct", "press", "mill", "grind", "cover", "trim", "inspect")
"""Stages an adjustment at the lab may name."""


@dataclass(frozen=True, slots=True)
class Terms:
    """What of the lab's and the clinic's settings shapes a visit; kept with it, because settings change."""

    stages_on: frozenset[str]
    by_parcel: bool
    trims_at_clinic: bool


def work_words(stage: str) -> str:
    """The work itself: "Mill or print" for the queue "To mill or print"."""
    words = STAGES[stage].queue.removeprefix("To ")
    return words[0].upper() + words[1:]


def new_route(way: str, terms: Terms, start: str = "check_in") -> tuple[str, ...]:
    """A pair's first visit; a second pair or a remake may `start` later, say at press while the positive is kept."""
    route = _kept((*WAYS[way], *_onward(terms), "dispense", "wear_in"), terms)
    return route[route.index(start) :]


def adjustment_route(stages: Collection[str], terms: Terms) -> tuple[str, ...]:
    """The stages named for it, in the lab's order, then dispensing and wearing in; by parcel the way there and back."""
    if terms.by_parcel and not _at_clinic_alone(stages, terms):
        named = [stage for stage in _onward(terms) if stage in stages or stage in ("send", "receive")]
        work = [stage for stage in STAGES if stage in stages and stage not in named]
        return ("return", "check_in", *work, *named, "dispense", "wear_in")
    return (*(stage for stage in STAGES if stage in stages), "dispense", "wear_in")


def refurbishment_route(terms: Terms) -> tuple[str, ...]:
    there = ("return", "check_in") if terms.by_parcel else ("check_in",)
    return _kept((*there, "cover", *_onward(terms), "dispense"), terms)


def back_route(route: Sequence[str], target: str) -> tuple[str, ...]:
    """What is left of `route` when a pair at a parcel clinic goes back to the lab for `target`."""
    rest = tuple(route[route.index(target) :])
    return ("return", *(rest if target == "check_in" else ("check_in", *rest)))


def rerouted(route: Sequence[str], terms: Terms) -> tuple[str, ...]:
    """`route` with its way on to the wearer by the terms of another clinic; the making of it stays as it is."""
    onward = {"trim", "inspect", "send", "receive"}
    making = [stage for stage in route if stage not in onward and stage not in ("dispense", "wear_in")]
    wanted = [stage for stage in _onward(terms) if stage in route or stage in ("send", "receive")]
    return (*making, *wanted, *(stage for stage in ("dispense", "wear_in") if stage in route))


def place_of(stage: str, route: Sequence[str], terms: Terms) -> Place:
    """The building a pair is in while it waits for `stage`."""
    if stage == "receive" or (stage == "check_in" and "return" in route):
        return "way"
    if stage in ("return", "dispense", "wear_in") or (stage == "trim" and terms.trims_at_clinic):
        return "clinic"
    return "lab"


def joins_at(route: Sequence[str]) -> str:
    """Where a side without work is met by the other again."""
    return "send" if "send" in route else "dispense"


def working_at(stage: str, left: str | None, right: str | None) -> str:
    """The sides that have work at `stage`, by where each of them stands."""
    return "".join(side for side, at in (("L", left), ("R", right)) if at == stage)


def earliest(stages: Collection[str], route: Sequence[str]) -> str:
    return min(stages, key=route.index)


def _onward(terms: Terms) -> tuple[str, ...]:
    parcel = ("send", "receive") if terms.by_parcel else ()
    return ("inspect", *parcel, "trim") if terms.trims_at_clinic else ("trim", "inspect", *parcel)


def _kept(stages: Sequence[str], terms: Terms) -> tuple[str, ...]:
    return tuple(stage for stage in stages if not STAGES[stage].optional or stage in terms.stages_on)


def _at_clinic_alone(stages: Collection[str], terms: Terms) -> bool:
    return terms.trims_at_clinic and set(stages) <= {"trim"}


def start_of(way: str, start: str) -> str:
    """The stage a remake or a second pair starts at: a milled device has no positive to press over."""
    route = WAYS[way]
    if start == "new":
        return route[0]
    if start == "positive" and "press" in route:
        return "press"
    return next(stage for stage in route if stage in ("pour", "carve", "mill"))
