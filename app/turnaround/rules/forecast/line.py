"""Which places a pair still passes on its way to the clinic, in an order that every route keeps.

A place is a stage, or a hold that a pair stands still for: what it waits on comes before everything else.
"""

from collections.abc import Sequence

from app.bench.rules.acts import WAITING_ON
from app.bench.rules.stages import STAGES

HELD = "held_"
TRIM_THERE = "trim_there"
"""Trimming by the clinic itself, at its own pace: no bench of the lab."""
LINE: tuple[str, ...] = (
    *(HELD + party for party in WAITING_ON),
    "return",
    *(stage for stage in STAGES if stage not in ("return", "dispense", "wear_in")),
    TRIM_THERE,
)
PLACE = {place: number for number, place in enumerate(LINE)}
_AFTER_A_TRIM_IN_THE_LAB = frozenset({"inspect", "send", "receive"})
BENCHES = tuple(stage for stage in STAGES if STAGES[stage].bench)


def rest(route: Sequence[str], stage: str, trims_at_clinic: bool) -> tuple[str, ...]:
    """The places from `stage` up to, not into, dispensing; none once it is there."""
    if stage not in route or "dispense" not in route:
        return ()
    left = list(route[route.index(stage) : route.index("dispense")])
    if "trim" in left and trims_at_clinic and not _AFTER_A_TRIM_IN_THE_LAB.intersection(left[left.index("trim") :]):
        left[left.index("trim")] = TRIM_THERE
    return tuple(sorted(set(left), key=PLACE.__getitem__))


def by_work(place: str) -> bool:
    """Whether its minutes are working minutes; by the clock otherwise."""
    return place not in STAGES or STAGES[place].bench


def at_bench(place: str) -> bool:
    """Whether pairs wait there for the lab's own hands."""
    return place in BENCHES


def place_words(place: str) -> str:
    if place.startswith(HELD):
        return f"Parked, waiting on the {place.removeprefix(HELD)}"
    return "To trim, at the clinic" if place == TRIM_THERE else STAGES[place].queue
