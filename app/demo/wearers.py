"""Who wears the invented pairs: names, ages, feet and postures, the shoes they bring and what is prescribed for them.

Feet and postures follow published distributions; everybody and everything else is invented.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from numpy.random import Generator

from app.orders.rules import Body
from app.trade.sizes import size

T = TypeVar("T")

WOMEN = (
    *("Ada", "Bryony", "Cleo", "Demelza", "Edda", "Fenella", "Gwen", "Hester", "Ione", "Jenifer", "Kerensa", "Lamorna"),
    *("Mab", "Nessa", "Orla", "Petra", "Rosenwyn", "Sidwell", "Tegen", "Ursula", "Verity", "Zennor"),
)
MEN = (
    *("Aldo", "Bram", "Cador", "Dov", "Ennis", "Finn", "Gerren", "Hal", "Ivo", "Jem", "Kit", "Lowen", "Myghal", "Ned"),
    *("Osbert", "Perran", "Rufus", "Silas", "Talan", "Ugo", "Wilmot", "Yestin"),
)
LAST = (
    *("Alderney", "Brack", "Crake", "Dunlin", "Eddystone", "Fenn", "Garnet", "Hobby", "Inkpen", "Jolliffe", "Kelp"),
    *("Loach", "Marl", "Nankivel", "Oxbow", "Plover", "Quill", "Reedmace", "Sedge", "Tarrow", "Umber", "Vetch"),
    *("Wick", "Yarrow", "Ashlar", "Bittern", "Cockle", "Driftway", "Elver", "Furlong", "Godwit", "Hawser"),
)
LENGTH_MM = {True: (246.3, 12.4), False: (271.2, 13.1)}
BREADTH_MM = {True: (92.7, 4.8), False: (101.9, 5.2)}
"""Of women (True) and men: means and deviations, US Army anthropometric survey 2012; men from a secondary text."""
POSTURE = (4.0, 3.0)
"""Foot Posture Index: the mean of adults is +4 (Redmond, Crane & Menz 2008); the deviation is invented."""
YOUNGEST, GROWN = 8, 14
SHARE_OF_CHILDREN, SHARE_OF_DIABETES, SHARE_WITHOUT_FEELING = 0.05, 0.09, 0.05
YEARLY_GROWTH = 0.03
"""By how much a child's foot is shorter for each year before it is grown, from memory; the shares are invented."""


@dataclass(frozen=True)
class Wearer:
    name: str
    born_year: int
    mass_kg: float
    posture_left: int
    posture_right: int
    risks: list[str]
    foot_mm: float
    breadth_mm: float

    def label(self, number: int) -> str:
        """The chart label at the clinic: initials and a number."""
        return "".join(word[0] for word in self.name.split()) + f" {number}"

    def facts(self) -> dict[str, Any]:
        """What an order says of its wearer."""
        names = ("name", "born_year", "mass_kg", "posture_left", "posture_right", "risks")
        return {name: getattr(self, name) for name in names}

    def feet(self, sides: str) -> dict[str, dict[str, int]]:
        """Every second wearer's feet were measured when the pair was ordered; both alike."""
        length, breadth = round(self.foot_mm * 10), round(self.breadth_mm * 10)
        return {side: {"length": length, "breadth": breadth} for side in sides} if length % 2 else {}


def wearer(
    rng: Generator,
    year: int,
    child: bool | None = None,
    risks: Sequence[str] | None = None,
    postures: Sequence[int] | None = None,
) -> Wearer:
    """Somebody who orders in `year`; what is not asked for is drawn."""
    woman = rng.random() < 0.55
    young = rng.random() < SHARE_OF_CHILDREN if child is None else child
    age = int(rng.integers(YOUNGEST, 18)) if young else round(min(max(rng.normal(54, 16), 18), 91))
    grown = 1 - YEARLY_GROWTH * max(GROWN - age, 0)
    shares = {"diabetes": SHARE_OF_DIABETES, "sensation_loss": SHARE_WITHOUT_FEELING}
    drawn = [] if young else [risk for risk, share in shares.items() if rng.random() < share]
    mass = rng.normal(27 + 4.2 * (age - YOUNGEST), 4) if young else rng.normal(78, 14)
    drawn_postures = [min(max(round(posture), -12), 12) for posture in rng.normal(*POSTURE, 2).tolist()]
    left, right = postures or drawn_postures
    return Wearer(
        name=f"{pick(rng, WOMEN if woman else MEN)} {pick(rng, LAST)}",
        born_year=year - age,
        mass_kg=round(min(max(mass, 20 if young else 42), 140), 1),
        posture_left=left,
        posture_right=right,
        risks=drawn if risks is None else list(risks),
        foot_mm=rng.normal(*LENGTH_MM[woman]) * grown,
        breadth_mm=rng.normal(*BREADTH_MM[woman]) * grown,
    )


def shoe(rng: Generator, of: Wearer) -> dict[str, Any]:
    return {
        "kind": pick(rng, ("walking", "sports", "dress", "boot")),
        "size": round(size(round(of.foot_mm * 10), "eu") * 2) / 2,
        "system": "eu",
        "liner": "out" if rng.random() < 0.8 else "in",
        "inside_width": round((of.breadth_mm - 4) * 10),
    }


THICKNESSES = {"polypropylene": (30, 40, 45), "copolymer": (40, 48), "eva": (100, 120)}


MAY_DIFFER = ("heel_cup", "rearfoot_post", "additions")


def prescription(rng: Generator, way: str, sides: str) -> Body:
    """Both feet alike for most, and of one material for all; what is milled or printed is polypropylene."""
    items = _items(rng, way)
    body = {side: dict(items) for side in sides}
    if len(body) == 2 and rng.random() < 0.3:
        other = {key: value for key, value in _items(rng, way).items() if key in MAY_DIFFER}
        body["R"] = {key: value for key, value in items.items() if key not in MAY_DIFFER} | other
    return body


def _items(rng: Generator, way: str) -> dict[str, Any]:
    shares = {"polypropylene": 0.6, "copolymer": 0.2, "eva": 0.2}
    shell = "polypropylene" if way == "direct" else weighed(rng, shares)
    items: dict[str, Any] = {
        "shell": shell,
        "shell_thickness": pick(rng, THICKNESSES[shell]),
        "shell_length": "metatarsals",
        "shell_width": weighed(rng, {"narrow": 0.2, "standard": 0.6, "wide": 0.2}),
        "heel_cup": pick(rng, (100, 120, 140, 160)),
        "arch_fill": "standard",
        "cover": pick(rng, ("eva", "leather", "foam")),
        "cover_thickness": pick(rng, (15, 20, 30)),
        "cover_length": pick(rng, ("metatarsals", "sulcus", "toes")),
    }
    if rng.random() < 0.6:
        items["rearfoot_post"] = pick(rng, ("4/4", "2° varus / 4° motion", "4° varus"))
    if rng.random() < 0.3:
        items["additions"] = [pick(rng, ("met_pad", "heel_pad", "morton", "met_bar"))]
    return items


def pick(rng: Generator, choices: Sequence[T]) -> T:
    return choices[int(rng.integers(len(choices)))]


def weighed(rng: Generator, shares: Mapping[T, float]) -> T:
    """One of the keys, by shares that add up to 1. `rng.choice` takes ten times as long."""
    drawn = rng.random()
    *most, last = shares.items()
    for choice, share in most:
        if (drawn := drawn - share) < 0:
            return choice
    return last[0]
