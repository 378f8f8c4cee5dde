"""How wearers felt at their reviews, by what had been prescribed for them: medians and shares, each with its count.

Relief in per cent is what the wearer says of it; the change in pain is worked out from two scores, before and at the
review. That one feature goes with more relief than another does not say that it brings it about: wearers who need it
differ from those who don't.
"""

from collections.abc import Callable, Iterable, Iterator
from statistics import median
from typing import NamedTuple

from app.orders.rules import ADDITIONS, COVERS, ITEMS, MATERIALS, Body
from app.trade.estimates import wilson

FEWEST = 10
"""Wearers of a feature; of fewer nothing is said."""
MOST = 10_000
"""Reviews of which it is asked, the latest; more make no figure surer and take seconds to read."""
ENOUGH_RELIEF = 50
"""Per cent. Half of the pain gone is commonly called a substantial change in pain research (from memory: the
recommendations of the IMMPACT group, J Pain 2008;9(2):105-121)."""


class Felt(NamedTuple):
    """What one wearer told; None where it was not asked."""

    pain_relief: int | None
    comfort: int | None
    pain: int | None
    pain_before: int | None
    body: Body


class Found(NamedTuple):
    """Of the wearers of one feature; a figure of too few is None."""

    group: str
    feature: str
    wearers: int
    relieved: int
    """How many told of relief in per cent."""
    relief: float | None
    """Median, per cent."""
    enough: float | None
    """The share with half of the pain gone or more, and between which shares the true one may lie."""
    low: float | None
    high: float | None
    comforted: int
    comfort: float | None
    """Median, 0 to 10."""
    compared: int
    """How many told of pain before and at the review."""
    change: float | None
    """Median change of pain, 0 to 10; below 0 there is less."""


def features(body: Body) -> Iterator[tuple[str, str]]:
    """What a pair's prescription says, of either side: group and feature, in words."""
    sides = list(body.values())
    shells, covers = ({side.get(item) for side in sides} - {None} for item in ("shell", "cover"))
    yield from (("Shell", MATERIALS[shell]) for shell in shells if shell in MATERIALS)
    for item in ("rearfoot_post", "forefoot_post", "heel_lift"):
        yield ITEMS[item].label, "with" if any(side.get(item) for side in sides) else "without"
    yield from (("Top cover", COVERS[cover]) for cover in covers or {"none"} if cover in COVERS)
    additions = {addition for side in sides for addition in side.get("additions") or ()}
    yield from (("Additions", ADDITIONS[each]) for each in additions if each in ADDITIONS)
    if not additions:
        yield "Additions", "none"


def by_feature(felt: Iterable[Felt]) -> list[Found]:
    """Everyone first, then the features in the order of a prescription, the most usual of a group first."""
    of: dict[tuple[str, str], list[Felt]] = {("Everyone", ""): []}
    for each in felt:
        of["Everyone", ""].append(each)
        for feature in features(each.body):
            of.setdefault(feature, []).append(each)
    groups = ["Everyone", "Shell", *(ITEMS[item].label for item in ("rearfoot_post", "forefoot_post", "heel_lift"))]
    groups += ["Top cover", "Additions"]
    order = sorted(of, key=lambda key: (groups.index(key[0]), -len(of[key]), key[1]))
    return [_found(*key, of[key]) for key in order if of[key]]


def _found(group: str, feature: str, felt: list[Felt]) -> Found:
    relief = [each.pain_relief for each in felt if each.pain_relief is not None]
    comfort = [each.comfort for each in felt if each.comfort is not None]
    change = [each.pain - each.pain_before for each in felt if each.pain is not None and each.pain_before is not None]
    enough = sum(each >= ENOUGH_RELIEF for each in relief)
    known = len(relief) >= FEWEST
    low, high = wilson(enough, len(relief)) if known else (None, None)
    return Found(
        group,
        feature,
        len(felt),
        len(relief),
        _of_enough(median, relief),
        enough / len(relief) if known else None,
        low,
        high,
        len(comfort),
        _of_enough(median, comfort),
        len(change),
        _of_enough(median, change),
    )


def _of_enough(figure: Callable[[list[int]], float], values: list[int]) -> float | None:
    return float(figure(values)) if len(values) >= FEWEST else None
