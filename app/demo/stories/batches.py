"""What is worked several at a time: casts for one bowl of plaster, shells for the oven, covers of one sheet."""

from collections.abc import Mapping
from typing import Any

from app.demo.telling import Teller, Telling, side_by_side

_WALKING = {"kind": "walking", "liner": "out"}
_SCANS: dict[str, Any] = {"captures": {"L": "scan", "R": "scan"}}
_SHELL = {"shell": "polypropylene", "shell_thickness": 40, "shell_length": "metatarsals", "heel_cup": 120}
_COPOLYMER: dict[str, Any] = {"shell": "copolymer", "shell_thickness": 48}
_COVER = {"cover": "eva", "cover_thickness": 30, "cover_length": "toes"}


def _of(sides: str = "LR", **items: Any) -> dict[str, Any]:
    return {"sides": sides, "prescription": dict.fromkeys(sides, _SHELL | _COVER | items)}


def _sized(size: float) -> dict[str, Any]:
    return {"shoe": _WALKING | {"size": size, "system": "eu"}, "feet": {}}


def _measured(length: int, breadth: int) -> dict[str, Any]:
    return {"feet": {side: {"length": length, "breadth": breadth} for side in "LR"}}


TO_POUR: tuple[tuple[str, Mapping[str, Any]], ...] = (
    ("Harbour Steps", _of() | _SCANS),
    ("Upper Quay", _of(heel_cup=140) | _sized(38)),
    ("Gull Lane", _of(**_COPOLYMER) | _sized(43.5)),
    ("Harbour Steps", _of("R") | {"captures": {"R": "foam"}} | _sized(41)),
    ("Upper Quay", _of(forefoot_post="4 varus") | _SCANS),
    ("Gull Lane", _of(shell_thickness=30) | {"captures": {"L": "scan", "R": "foam"}} | _sized(37)),
    ("Harbour Steps", _of() | {"shoe": _WALKING, "feet": {}}),
    ("Upper Quay", _of(cover="leather", cover_thickness=15) | _sized(45)),
    ("Harbour Steps", _of(heel_cup=160) | _sized(39.5) | _measured(2_485, 940)),
)
"""Clinic and order: by scan, by measures, by a shoe's size alone, one foot, a post at the forefoot, and one whose
size nobody knows.

With those that stand at To pour anyway they are twelve.
"""
TO_PRESS: tuple[tuple[str, Mapping[str, Any]], ...] = (
    ("Gull Lane", _of() | _sized(42)),
    ("Harbour Steps", _of(heel_cup=160) | _sized(37.5)),
    ("Upper Quay", _of("L") | {"captures": {"L": "slipper_plaster"}} | _sized(44)),
    ("Harbour Steps", _of(shell_thickness=30) | _sized(38.5)),
    ("Gull Lane", _of(**_COPOLYMER, cover="leather", cover_thickness=15) | _sized(43)),
    ("Upper Quay", _of() | _sized(40)),
    ("Harbour Steps", _of(heel_cup=140) | _sized(46)),
    ("Gull Lane", _of(rearfoot_post="4/4") | _sized(41)),
)
"""Several sheets, of the usual one more than the lot in use has."""
TO_COVER: tuple[tuple[str, Mapping[str, Any]], ...] = (
    ("Harbour Steps", _of(heel_cup=140) | _sized(41.5)),
    ("Gull Lane", _of() | _sized(38)),
)
"""Of the cover of which a lot is in use."""


def _brought(t: Teller, stage: str, ordered: float, there: float, clinic: str, order: Mapping[str, Any]) -> Telling:
    """A pair of this order, which stands at `stage` since so many working days."""
    yield t.worked(ordered)
    pair = t.order(clinic, **order)
    yield from pair.walk(stage, t.worked(there))


def casts_for_one_bowl(t: Teller) -> Telling:
    yield from side_by_side(
        _brought(t, "pour", 2.1 - number / 10, 0.75 - number / 20, *each) for number, each in enumerate(TO_POUR)
    )


def shells_for_the_oven(t: Teller) -> Telling:
    yield from side_by_side(
        _brought(t, "press", 3.6 - number / 10, 0.7 - number / 20, *each) for number, each in enumerate(TO_PRESS)
    )


def covers_of_one_sheet(t: Teller) -> Telling:
    yield from side_by_side(
        _brought(t, "cover", 5.2 - number / 10, 0.6 - number / 10, *each) for number, each in enumerate(TO_COVER)
    )


ALL = (casts_for_one_bowl, shells_for_the_oven, covers_of_one_sheet)
