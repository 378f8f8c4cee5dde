"""What a manager wants to try: people more or away at a bench, and rush pairs; read from the page's form."""

from collections.abc import Mapping
from typing import NamedTuple

from app.bench.rules.stages import WAYS
from app.errors import BadInput
from app.turnaround.rules.forecast.line import BENCHES
from app.turnaround.rules.forecast.standing import Change

LIMITS: dict[str, tuple[int, int, str]] = {
    "more": (-50, 50, "People more"),
    "away": (0, 50, "People away"),
    "days": (1, 60, "Working days that they are away"),
    "rush": (0, 500, "Rush pairs"),
}
"""Lowest, highest and what it is."""
A_WEEK = 5


class Tried(NamedTuple):
    changes: Mapping[str, Change] = {}
    """By bench, only where something is changed."""
    rush: int = 0
    way: str = "cast"
    """Of the rush pairs."""

    @property
    def by_person(self) -> frozenset[str]:
        """Benches at which somebody can be away."""
        return frozenset(place for place, change in self.changes.items() if change.away)

    @property
    def anything(self) -> bool:
        return bool(self.changes or self.rush)


def read_tried(typed: Mapping[str, str]) -> Tried:
    """BadInput names each field at fault; an empty field changes nothing."""
    wrong: dict[str, str] = {}
    days = _whole(typed, "days", "days", wrong, A_WEEK)
    changes = {}
    for place in BENCHES:
        more, away = (_whole(typed, f"{name}.{place}", name, wrong) for name in ("more", "away"))
        if more or away:
            changes[place] = Change(more, away, days if away else 0)
    rush, way = _whole(typed, "rush", "rush", wrong), typed.get("way") or "cast"
    if way not in WAYS:
        wrong["way"] = f"One of {', '.join(WAYS)}; '{way[:20]}' is none of them."
    if wrong:
        raise BadInput("What is to be tried needs another look.", wrong)
    return Tried(changes, rush, way)


def _whole(typed: Mapping[str, str], field: str, name: str, wrong: dict[str, str], usual: int = 0) -> int:
    raw = typed.get(field, "").strip()
    if not raw:
        return usual
    low, high, words = LIMITS[name]
    digits = raw.removeprefix("-").removeprefix("+")
    if digits.isascii() and digits.isdecimal() and len(raw) < 6 and low <= int(raw) <= high:
        return int(raw)
    wrong[field] = f"{words}: a whole number from {low} to {high}; '{raw[:20]}' is not."
    return usual
