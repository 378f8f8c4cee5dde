"""Which lots may be picked for the work of a stage, and which does one tap note? Those in use, unless it is unclear.

Which lot fits a side is materials.py.
"""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import NamedTuple

from app.bench.rules.machine import SIDE_WORDS
from app.bench.rules.materials import KINDS, Kind, LotRow, fits, material_words, sides_of, wanted
from app.orders.rules import Body


class InUse(NamedTuple):
    """A lot in use with the sides that are made from it."""

    lot: LotRow
    sides: str
    why_not: str
    """Why one tap does not note it, after "lot A 100 in use"; empty where it does."""

    def words(self, working: str) -> str:
        """ "lot A 100 in use"; before it the side where it is not for all that are worked on."""
        side = "" if self.sides == working else f"{SIDE_WORDS[self.sides]}: "
        return f"{side}lot {self.lot.number} in use" + (f" {self.why_not}, not noted" if self.why_not else "")


def in_use(lots: Iterable[LotRow], stage: str, body: Body, sides: str, today: date) -> list[InUse]:
    """Which of the `lots` in use are for the work at `stage` of these sides.

    Where several of one kind could be meant, none is noted by itself: a guess would be traced as if it were known.
    """
    mine = [(lot, sides_of(lot, body, sides)) for lot in lots if KINDS[lot.kind].stage == stage]
    mine = [(lot, of) for lot, of in mine if of and _has_work(KINDS[lot.kind], body, of)]
    unclear = {
        lot.id
        for lot, of in mine
        for other, theirs in mine
        if other.id != lot.id and other.kind == lot.kind and set(of) & set(theirs) and not other.unfit(today)
    }
    return [
        InUse(lot, of, lot.unfit(today) or ("is one of several that fit" if lot.id in unclear else ""))
        for lot, of in mine
    ]


def _has_work(kind: Kind, body: Body, sides: str) -> bool:
    """Whether there is anything to do with it: nobody glues a cover that is not prescribed."""
    return not kind.goes_with or any(body.get(side, {}).get(kind.goes_with, "none") != "none" for side in sides)


class Offer(NamedTuple):
    """One pick on the form: a kind, the sides that it is for, what may be picked, and which the form starts from."""

    kind: Kind
    what: str
    sides: str
    lots: list[LotRow]
    start: int | None


def offers(
    lots: Iterable[LotRow], used: Sequence[InUse], stage: str, body: Body, sides: str, today: date
) -> list[Offer]:
    """What may be picked for the work at `stage`, what is in use (`used`) first; of a kind without any there is none.

    Sides of different materials have a pick each.
    """
    usable = [lot for lot in lots if not lot.unfit(today)]
    usable.sort(key=lambda lot: lot.in_use_since is None)
    found = []
    for kind in (each for each in KINDS.values() if each.stage == stage):
        needs: dict[tuple[str | None, int | None], str] = {}
        for side in sides:
            need = wanted(kind, body.get(side, {})) if kind.item else (None, None)
            needs[need] = needs.get(need, "") + side
        for (material, thickness), mine in needs.items():
            items = {kind.item: material, kind.thickness: thickness}
            fitting = [lot for lot in usable if lot.kind == kind.key and fits(kind.key, *lot.of, items)]
            here = [each for each in used if each.lot.kind == kind.key and set(each.sides) & set(mine)]
            if fitting:
                what = material_words(kind.key, material, thickness)
                found.append(Offer(kind, what, mine, fitting, _start(fitting, here)))
    return found


def _start(fitting: Sequence[LotRow], here: Sequence[InUse]) -> int | None:
    """The lot in use, and none if it can't be noted by itself; where none is in use, the one that was noted last."""
    if here:
        return next((each.lot.id for each in here if not each.why_not), None)
    before = [lot for lot in fitting if lot.last_used_at]
    return max(before, key=lambda lot: (lot.last_used_at, lot.id)).id if before else None
