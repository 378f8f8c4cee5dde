"""The cards that hang at a bench: scanned, each says one thing to do, so that nobody has to touch a screen in gloves.

Where a card names an act, `do` is the act's key and `stage`, `reason` and `waiting_on` are what the machine asks with
it; which pair and which sides are meant, the scan station knows. Cards are made for what can be said without words
or a look at the pair: the other reasons of park and send back are given on the pair's page.
"""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal, NamedTuple

from app.bench.rules.acts import LAB_STAGES, PARK_REASONS, SEND_BACK_REASONS
from app.bench.rules.stages import STAGES, work_words
from app.trade import scans

Do = Literal[
    "stage", "advance", "take_back", "start", "put_down", "park", "send_back", "lock", "batch_begin", "batch_end"
]


@dataclass(frozen=True, slots=True)
class Card:
    do: Do
    word: str
    """Tells it apart in its payload; on paper it is printed for years, so it never changes."""
    head: str
    name: str
    does: str
    stage: str = ""
    """The bench's new stage, or the one that a pair goes back to."""
    reason: str = ""
    waiting_on: str = ""

    @property
    def payload(self) -> str:
        return scans.sealed("CARD", self.word)


class Group(NamedTuple):
    title: str
    cards: tuple[Card, ...]


class UnknownCard(scans.BadScan):
    """A card of ours by its check character, but of a kind that no bench knows (any more)."""


PARKED = (
    ("material", "supplier"),
    ("machine", "lab"),
    ("question", "clinic"),
    ("shoe", "clinic"),
    ("shoe", "wearer"),
    ("approval", "clinic"),
    ("approval", "payer"),
    ("wearer", "wearer"),
)
"""Reasons with whom they usually wait on. The others need words, or are given by an act of their own."""
SENT_BACK = (
    ("cracked", "press"),
    ("cracked", "mill"),
    ("wrong_sheet", "press"),
    ("shape", "press"),
    ("post", "grind"),
    ("edges", "grind"),
    ("addition", "cover"),
    ("too_short", "cover"),
    ("edges", "trim"),
    ("too_wide", "trim"),
)
"""Reasons with the stage at which they are usually mended. Where the others go back to depends on the pair."""


def _word(*parts: str) -> str:
    return "".join(parts).replace("_", "").upper()


def _set_to(stage: str) -> Card:
    work = work_words(stage)
    return Card("stage", _word("stage", stage), "This bench", work, f"Sets this bench to {work.lower()}.", stage)


def _park(reason: str, on: str) -> Card:
    name = PARK_REASONS[reason].capitalize()
    does = f"The pair stands still and waits on the {on}."
    return Card("park", _word("park", reason, on), f"Park: {on}", name, does, reason=reason, waiting_on=on)


def _send_back(reason: str, stage: str) -> Card:
    work = work_words(stage).lower()
    name, does = SEND_BACK_REASONS[reason].capitalize(), f"The pair goes back to {work}."
    return Card("send_back", _word("back", stage, reason), f"Back to {work}", name, does, stage, reason)


DONE = Card("advance", "DONE", "The pair", "Done", "The work of this bench's stage is done; the pair goes on.")
START = Card("start", "START", "The pair", "Start", "You begin the work on the pair.")
PUT_DOWN = Card("put_down", "DOWN", "The pair", "Put down", "You put the pair down, unfinished.")
TAKE_BACK = Card("take_back", "UNDO", "The pair", "Take back", "Takes your last act back, within ten minutes.")
BATCH_BEGIN = Card("batch_begin", "BATCHBEGIN", "Batch", "Batch begins", "Pairs scanned from now on are collected.")
BATCH_END = Card("batch_end", "BATCHEND", "Batch", "Batch ends", "Its pairs can now be worked in one go.")
LOCK = Card("lock", "LOCK", "This bench", "Lock", "Locks this bench until a badge is scanned or somebody signs in.")
STAGE_CARDS = tuple(_set_to(stage) for stage in STAGES if stage in LAB_STAGES)
PARK_CARDS = tuple(_park(*each) for each in PARKED)
BACK_CARDS = tuple(_send_back(*each) for each in SENT_BACK)
BY_PAYLOAD = {
    card.payload: card
    for card in (
        *(DONE, START, PUT_DOWN, TAKE_BACK, BATCH_BEGIN, BATCH_END, LOCK),
        *(*STAGE_CARDS, *PARK_CARDS, *BACK_CARDS),
    )
}


def meant(scan: scans.Scan) -> Card:
    """What the card that was scanned says; a lab's switched-off stages too, because older pairs still pass them."""
    try:
        return BY_PAYLOAD[scan.text]
    except KeyError:
        raise UnknownCard(
            f"'{scan.text[:40]}' is a card that this bench does not know. Print the cards anew and throw this one away."
        ) from None


def offered(stages_on: Collection[str], marks_start: bool) -> list[Group]:
    """The cards of this lab, in the order to print them; none for a stage switched off or an act not marked."""

    def has(card: Card) -> bool:
        return not card.stage or not STAGES[card.stage].optional or card.stage in stages_on

    marks = (START, PUT_DOWN) if marks_start else ()
    return [
        Group("The stage of a bench", tuple(card for card in STAGE_CARDS if has(card))),
        Group("The work on a pair", (DONE, *marks, TAKE_BACK)),
        Group("Several pairs, and leaving", (BATCH_BEGIN, BATCH_END, LOCK)),
        Group("Park", PARK_CARDS),
        Group("Send back", tuple(card for card in BACK_CARDS if has(card))),
    ]
