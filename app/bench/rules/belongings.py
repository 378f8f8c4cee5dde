"""What comes with a pair and has to go back, where it can be, and what may become of it."""

from dataclasses import dataclass
from typing import Literal

from app.bench.rules.machine import SIDE_WORDS
from app.errors import BadInput

BELONGINGS = {
    "shoes": "the shoes",
    "liners": "the shoe's own insoles (liners)",
    "old_pair": "the old pair",
    "tracing": "a tracing",
    "cast": "a cast that is to go back",
}
PLACES = {
    "lab": "at the lab",
    "way": "on its way",
    "clinic": "at the clinic",
    "wearer": "with the wearer",
    "gone": "thrown away",
    "missing": "missing from its parcel",
}


@dataclass(frozen=True, slots=True)
class Fate:
    key: str
    words: str
    place: Literal["here", "way", "clinic", "wearer", "lab", "gone"]
    """Where it is then; `here` is the building in which its pair is."""
    settles: bool = True
    """Whether it is accounted for by that."""


FATES: dict[str, Fate] = {
    fate.key: fate
    for fate in (
        Fate("back", "here, and still to go back", "here", settles=False),
        Fate("in_parcel", "in the parcel with its pair", "way", settles=False),
        Fate("to_wearer", "given back to the wearer", "wearer"),
        Fate("to_clinic", "given back to the clinic", "clinic"),
        Fate("kept", "kept at the lab, on a shelf", "lab"),
        Fate("thrown_away", "thrown away, with the wearer's consent", "gone"),
    )
}


def read_kind(kind: str, side: str) -> None:
    wrong = {}
    if kind not in BELONGINGS:
        wrong["kind"] = f"'{kind[:20]}' is no belonging. One of {', '.join(BELONGINGS)}."
    if side not in SIDE_WORDS:
        wrong["side"] = f"'{side[:9]}' is no side: L, R or LR."
    if wrong:
        raise BadInput(" ".join(wrong.values()), wrong)


def read_fate(becomes: str, shelf: str) -> tuple[Fate, str | None]:
    """The fate, and the shelf of what is kept; a shelf says nothing of anything else."""
    if becomes not in FATES:
        words = f"Say what becomes of it: one of {', '.join(FATES)}."
        raise BadInput(words, {"becomes": words})
    if becomes != "kept":
        return FATES[becomes], None
    if not 1 <= len(shelf := shelf.strip()) <= 20:
        words = "What the lab keeps has a shelf, in at most 20 characters."
        raise BadInput(words, {"shelf": words})
    return FATES[becomes], shelf


def words_of(kind: str, side: str) -> str:
    """ "the shoes", or "the shoes, left only"; a kind that is no longer in the list is named as it was."""
    return BELONGINGS.get(kind, kind) + (f", {SIDE_WORDS[side]} only" if len(side) == 1 else "")
