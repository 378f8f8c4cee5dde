"""What does a bench answer to a scan? The pair as the bench has to see it, and in one sentence what stands in the way.

static/bench/ answers the same for the pairs it holds while the network is gone, from what is worked out here.
"""

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any, NamedTuple

from app.bench.rules.acts import ENDS, LAB_STAGES
from app.bench.rules.stages import MAKING, STAGES


class Tone(NamedTuple):
    """How an answer looks and sounds; the words say the same."""

    mark: str
    """A shape of templates/parts.html."""
    sound: str
    """A name in static/bench/sound.js; empty for silence."""
    title: str


TONES: dict[str, Tone] = {
    "here": Tone("tell", "seen", "Here"),
    "done": Tone("good", "done", "Done"),
    "noted": Tone("good", "done", "Noted"),
    "which": Tone("wait", "seen", "Which side?"),
    "again": Tone("tell", "", "Read twice"),
    "waits": Tone("wait", "stop", "Not sent yet"),
    "setting": Tone("wait", "stop", "Still setting"),
    "elsewhere": Tone("stop", "stop", "Not here"),
    "parked": Tone("stop", "stop", "Stands still"),
    "ended": Tone("stop", "stop", "Ended"),
    "old_ticket": Tone("stop", "stop", "Old job ticket"),
    "refused": Tone("stop", "stop", "Not done"),
    "unknown": Tone("stop", "wrong", "Not known"),
    "mistyped": Tone("stop", "wrong", "Misread"),
    "nothing": Tone("wait", "wrong", "Nothing to do it to"),
}
WHICH_SIDE = "Only one of them, or both: the other side keeps its finished work."
OLD_TICKET = (
    "This job ticket shows prescription {ticket}; prescription {holds} holds. Print a new ticket and put the old one "
    "away."
)
REPEAT_SECONDS = 3
"""The same text within so long is one scan that was read twice."""
MOST_HELD = 300
"""Pairs of its stage that a station holds for when the network is gone."""


class Shown(NamedTuple):
    """A pair as a bench shows it: of the wearer the chart label alone."""

    code: str
    label: str
    clinic: str
    tray: int | None
    working: str
    """The sides with work here: L, R or LR."""
    sides: str
    needs: tuple[str, ...]
    rush: bool
    version: int
    ticket: int
    """The prescription that holds; what a job ticket has to show."""
    stage: str | None
    kind: str
    """Of `TONES`."""
    sentence: str
    button: str
    """The act that brings it on, as it will be true: "Pressed"; empty where it can't be done here."""
    until: datetime | None
    """Until when it sets."""
    ahead: tuple[tuple[str, str], ...]
    """Later stages, for work done in one go: key and queue."""
    lots: tuple[int, ...] = ()
    """What is in use and goes into it."""

    def plain(self) -> dict[str, Any]:
        return self._asdict() | {"until": self.until.isoformat() if self.until else None}


class Standing(NamedTuple):
    """Where a pair is, as far as a bench asks."""

    stage: str | None
    end: str | None
    place: str
    parked_on: str | None
    until: datetime | None
    mine: bool
    """Whether this person does the work that it waits for."""


def answer(pair: Standing, bench: str, clock_words: str, now: datetime) -> tuple[str, str]:
    """Kind and sentence for a pair whose job ticket holds; `bench` is the stage this bench is set to, or "".

    `clock_words` is `until` as people read it.
    """
    done = STAGES[pair.stage].done.lower() if pair.stage else ""
    here = ("here", f"Scan it again when it is {done}." if bench else "")
    return next(_in_the_way(pair, bench, clock_words, now), here)


def _in_the_way(pair: Standing, bench: str, clock_words: str, now: datetime) -> Iterator[tuple[str, str]]:
    """What keeps a bench from working on a pair, the weightiest first."""
    if pair.stage is None:
        yield "ended", f"It is {ENDS[str(pair.end)]}: nothing is left to do at a bench."
        return
    if pair.parked_on:
        yield "parked", f"It stands still and waits on the {pair.parked_on}. Put it on its shelf."
    if pair.place == "way":
        yield "elsewhere", "It is on its way in a parcel, as far as anybody has noted."
    if bench not in ("", pair.stage):
        yield "elsewhere", f"It does not wait here. It stands at {STAGES[pair.stage].queue}."
    if pair.until is not None and pair.until > now:
        yield "setting", f"It sets until {clock_words}."
    if not pair.mine:
        yield "refused", f"{STAGES[pair.stage].queue} is not yours to do."


def ahead(route: Sequence[str], stage: str) -> tuple[tuple[str, str], ...]:
    """The stages that work in one go may skip to: the bench's own, and what comes right behind them."""
    later = list(route[route.index(stage) + 2 :]) if stage in route else []
    benches = [each for each in later if each in MAKING]
    behind = [each for each in later if each not in MAKING][:1]
    return tuple((each, STAGES[each].queue) for each in (*benches, *behind))


def bench_stages(stages_on: Sequence[str]) -> list[str]:
    """The stages that a bench of this lab can be set to."""
    return [key for key in STAGES if key in LAB_STAGES and (not STAGES[key].optional or key in stages_on)]
