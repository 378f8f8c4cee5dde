"""A prescription in words: as a table of its sides, and beside an earlier one."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from app.orders.rules import ITEMS, Item, value_words

Sides = Mapping[str, Mapping[str, Any]]
NOTHING: Sides = MappingProxyType({})


def prescription_rows(body: Sides, units: str, before: Sides = NOTHING) -> list[tuple[str, str | None, str | None]]:
    """Item, left, right in words; an item that neither side has, or had `before`, is left out."""
    rows = []
    for item in ITEMS.values():
        words = {side: _words(item, body, side, units) for side in "LR"}
        if any(words.values()) or any(item.key in items for items in before.values()):
            rows.append((item.label, words["L"], words["R"]))
    return rows


def was_words(body: Sides, before: Sides, units: str) -> dict[str, dict[str, str]]:
    """What each changed item of the sides that both have was before, by label and side (left, right)."""
    was: dict[str, dict[str, str]] = {}
    for item in ITEMS.values():
        for side, word in (("L", "left"), ("R", "right")):
            if side not in body or side not in before or body[side].get(item.key) == before[side].get(item.key):
                continue
            was.setdefault(item.label, {})[word] = _words(item, before, side, units) or "not said"
    return was


def _words(item: Item, body: Sides, side: str, units: str) -> str | None:
    items = body.get(side, {})
    return value_words(item, items[item.key], units) if item.key in items else None
