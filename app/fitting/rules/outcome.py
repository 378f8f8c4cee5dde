"""What the wearer tells before a pair is worn and at each review, side by side, and what it changed by.

The change is worked out from the wearer's two scores. Relief in per cent is what the wearer says of it at a review:
the one is never made from the other.
"""

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

NOT_ASKED = "not asked"
BEFORE = {"pain": ("Pain", "0 to 10, 10 the worst"), "comfort": ("Comfort", "0 to 10, 10 the best")}
"""The scores that are asked before, too, with their scale in words."""


class Told(NamedTuple):
    """What was told on one day; None for what was not asked."""

    when: str
    """Before, or which review."""
    on: date
    pain: int | None
    comfort: int | None
    pain_relief: int | None = None


class Row(NamedTuple):
    label: str
    scale: str
    said: tuple[str, ...]
    """For each column, the words that stand there."""
    change: str


class SideBySide(NamedTuple):
    columns: list[tuple[str, date]]
    rows: list[Row]


def side_by_side(told: Sequence[Told]) -> SideBySide | None:
    """A table of what was told, the first column before; None where the pair was not dispensed."""
    if not told:
        return None
    rows = []
    for name, (label, scale) in BEFORE.items():
        scores = [getattr(each, name) for each in told]
        said = tuple(NOT_ASKED if score is None else str(score) for score in scores)
        rows.append(Row(label, scale, said, change_words(scores)))
    relief = (NOT_ASKED if each.pain_relief is None else f"{each.pain_relief}\u00a0%" for each in told[1:])
    rows.append(Row("Pain relief", "per cent, as the wearer says it", ("—", *relief), "—"))
    return SideBySide([(each.when, each.on) for each in told], rows)


def change_words(scores: Sequence[int | None]) -> str:
    """By how much the score of the latest review that asked differs from the first, before."""
    before, later = scores[0], [score for score in scores[1:] if score is not None]
    if before is None:
        return "before " + NOT_ASKED
    if not later:
        return "no review yet"
    change = later[-1] - before
    return "as before" if not change else f"{abs(change)} {'more' if change > 0 else 'less'}"
