"""Stays as columns: a few numbers a stay, in plain arrays, ordered by stage, so that any filter costs milliseconds.

The whole way of a visit, from its start to standing at To dispense, is one more kind of row beside the stages.
"""

import io
import zlib
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.bench.rules.acts import WAITING_ON
from app.bench.rules.stages import STAGES, WAYS
from app.orders.rules import MATERIALS

WAY = "way"
ROWS = (*STAGES, WAY)
"""The kinds of rows, in the order in which they stand."""
REASONS = ("new", "adjustment", "refurbishment", "remake", "recheck")
SHELLS = tuple(MATERIALS)
PLACE = {name: place for place, name in enumerate(ROWS)}
OTHER = 127
"""The code of a name that these lists do not have."""
LAYOUT = zlib.crc32(repr((1, ROWS, tuple(WAYS), REASONS, SHELLS, WAITING_ON)).encode()) & 0x7FFFFFFF
"""Another list of names, or another first number, makes every stored month unreadable: it is made anew."""
NO_PROMISE, LATE, KEPT = -1, 0, 1
Numbers = NDArray[Any]


class Of(NamedTuple):
    """What a stay can be filtered by, as codes: see `code`."""

    clinic: int
    way: int
    reason: int
    shell: int
    sides: int
    """How many sides the pair has."""


class Stayed(NamedTuple):
    """One stay that is over. Instants are minutes since 1970, minutes are of the stage's own clock."""

    row: int
    minutes: int
    entered: int
    left: int
    pair: int
    of: Of
    done: bool
    """False where the work was not done: the order was withdrawn, the pair was never collected."""
    kept: int = NO_PROMISE
    """Of a way: whether its promised day was kept."""
    worked: int = -1
    """Minutes that somebody was at it; -1 where nobody said so."""
    parked: tuple[tuple[int, int], ...] = ()
    """Whom it waited on, as a place in WAITING_ON, and for how many minutes."""


_PLAIN: dict[str, Any] = {
    "minutes": np.int32,
    "entered": np.int32,
    "left": np.int32,
    "pair": np.int32,
    "clinic": np.uint16,
    "way": np.int8,
    "reason": np.int8,
    "shell": np.int8,
    "sides": np.int8,
    "done": np.int8,
    "kept": np.int8,
}
_RARE: dict[str, Any] = {
    "worked_at": np.int32,
    "worked": np.int32,
    "parked_at": np.int32,
    "parked_on": np.int8,
    "parked": np.int32,
}
"""What few stays have: `..._at` is the place of the stay that it belongs to."""


class Columns(NamedTuple):
    """One entry a stay in each, stays of a row of ROWS together: those of row n stand from bounds[n] to bounds[n + 1].

    The last five are of the few stays that were worked on by the clock, or stood still for somebody.
    """

    bounds: Numbers
    minutes: Numbers
    entered: Numbers
    left: Numbers
    pair: Numbers
    clinic: Numbers
    way: Numbers
    reason: Numbers
    shell: Numbers
    sides: Numbers
    done: Numbers
    kept: Numbers
    worked_at: Numbers
    worked: Numbers
    parked_at: Numbers
    parked_on: Numbers
    parked: Numbers

    @property
    def stays(self) -> int:
        """How many there are."""
        return int(self.bounds[-1])

    def of_row(self, name: str) -> slice:
        place = PLACE[name]
        return slice(int(self.bounds[place]), int(self.bounds[place + 1]))

    @property
    def size(self) -> int:
        """Bytes in memory."""
        return sum(each.nbytes for each in self)


def code(name: str | None, names: Iterable[str]) -> int:
    return next((place for place, each in enumerate(names) if each == name), OTHER)


def columns(stays: Sequence[Stayed]) -> Columns:
    rows = np.fromiter((each.row for each in stays), np.int8, len(stays))
    flat = [(*each[1:5], *each.of, each.done, each.kept) for each in stays]
    table = np.array(flat, dtype=np.int64).reshape(len(stays), len(_PLAIN))
    plain = [table[:, place].astype(kind) for place, kind in enumerate(_PLAIN.values())]
    worked = [(place, each.worked) for place, each in enumerate(stays) if each.worked >= 0]
    parked = [(place, *each_hold) for place, each in enumerate(stays) for each_hold in each.parked]
    rare = [*_split(worked, 2), *_split(parked, 3)]
    return _ordered(rows, plain, [part.astype(kind) for part, kind in zip(rare, _RARE.values(), strict=True)])


def joined(parts: Sequence[Columns]) -> Columns:
    """All of them as one, in the same order."""
    rows = np.concatenate([_rows(part) for part in parts])
    plain = [np.concatenate([getattr(part, name) for part in parts]) for name in _PLAIN]
    before = np.concatenate([[0], np.cumsum([part.stays for part in parts])])[:-1]
    rare = []
    for name, kind in _RARE.items():
        more = before if name.endswith("_at") else np.zeros(len(parts), dtype=np.int64)
        moved = [getattr(part, name) + by for part, by in zip(parts, more, strict=True)]
        rare.append(np.concatenate(moved).astype(kind))
    return _ordered(rows, plain, rare)


def written(table: Columns) -> bytes:
    file = io.BytesIO()
    np.savez(file, **table._asdict())
    return file.getvalue()


def read(data: bytes) -> Columns:
    with np.load(io.BytesIO(data), allow_pickle=False) as file:
        return Columns._make(file[name] for name in Columns._fields)


def _split(rows: Sequence[tuple[int, ...]], width: int) -> list[Numbers]:
    table = np.array(rows, dtype=np.int64).reshape(len(rows), width)
    return [table[:, place] for place in range(width)]


def _rows(table: Columns) -> Numbers:
    return np.repeat(np.arange(len(ROWS), dtype=np.int8), np.diff(table.bounds))


def _ordered(rows: Numbers, plain: Sequence[Numbers], rare: Sequence[Numbers]) -> Columns:
    """By row; where each stay went, what belongs to it follows."""
    order = np.argsort(rows, kind="stable")
    place = np.empty(len(order), dtype=np.int32)
    place[order] = np.arange(len(order), dtype=np.int32)
    worked_at, worked, parked_at, parked_on, parked = rare
    bounds = np.searchsorted(rows[order], np.arange(len(ROWS) + 1)).astype(np.int64)
    found = [bounds, *(each[order] for each in plain), place[worked_at], worked, place[parked_at], parked_on, parked]
    return Columns._make(found)
