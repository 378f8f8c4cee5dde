"""Who is worked on when at one stage: those who come wait in line for the soonest free of several servers.

Whoever stands first in line is started when a server gets free, and nobody waits while one is idle; what has begun is
not laid aside. All runs are walked at the same time, each at its own minute, a step of all of them in a few calls.
"""

import numpy as np
from numpy.typing import NDArray

from app.trade.queueing.clocks import Minutes

Places = NDArray[np.intp]
_ONE = np.uint64(1)
_BITS = np.left_shift(_ONE, np.arange(64, dtype=np.uint64))
_AT_ONCE = 64
"""Runs that are put in order at once, as the processor's own memory holds them."""
_NOBODY = np.nan
"""Comes after the last one: no comparison with it holds, and a run whose minute it becomes is over."""


def starts(comes: Minutes, takes: Minutes, order: Places, free: Minutes) -> Minutes:
    """When each job is started; `comes` and `takes` (how long its server is busy with it) hold a run in each row.

    The lower `order`, from 0 on, is first in line; among equals who came first, then whose place is first. `free` is
    when each server is there.
    """
    runs, jobs = comes.shape
    small = np.min_scalar_type(jobs)
    order = order.astype(np.min_scalar_type(order.max()))  # 16 bits are sorted by their digits, several times as fast
    coming, by_rank = np.full((runs, jobs + 1), _NOBODY), np.empty((runs, jobs))
    rank, ranked = np.empty((runs, jobs), dtype=small), np.empty((runs, jobs), dtype=small)
    portions = [slice(begin, begin + _AT_ONCE) for begin in range(0, runs, _AT_ONCE)]
    for some in portions:
        came = _as_they_come(comes[some])
        line = order.take(came).argsort(axis=1, kind="stable")
        ranked[some] = who = np.take_along_axis(came, line, axis=1)
        np.put_along_axis(rank[some], line, np.arange(jobs)[None], axis=1)
        coming[some, :-1] = np.take_along_axis(comes[some], came, axis=1)
        by_rank[some] = np.take_along_axis(takes[some], who, axis=1)
    _walk(coming, rank, by_rank, np.sort(free))
    for some in portions:
        np.put_along_axis(by_rank[some], ranked[some].astype(np.intp), by_rank[some].copy(), axis=1)
    return by_rank


def _as_they_come(comes: Minutes) -> Places:
    """Each row's places by time, then by place.

    Times from 0 on sort like the whole numbers that their bits spell; the place takes the last bits, worth less than a
    millisecond. Plain numbers are sorted several times as fast as places are by `argsort`, and the same everywhere.
    """
    jobs = comes.shape[1]
    mask = (1 << max(jobs - 1, 1).bit_length()) - 1
    keys = np.ascontiguousarray(comes).view(np.int64) & ~mask | np.arange(jobs)
    keys.sort(axis=1)
    places: Places = (keys & mask).astype(np.intp, copy=False)
    return places


def _walk(coming: Minutes, rank: Places, by_rank: Minutes, free: Minutes) -> None:
    """Puts when it is started in place of how long it takes, in `by_rank`: the job of each rank.

    `coming` (with nobody at the end) and `rank` stand in the order in which they come. A run's minute, `now`, is when
    its next server is free, or, if nobody waits then, when the next job comes.
    """
    runs, jobs = by_rank.shape
    waiting = _Waiting(runs, jobs)
    servers = np.full((len(free) + 1, runs), np.inf)  # the soonest free first; the last row is nobody's
    servers[:-1] = free[:, None]
    busy, ends = servers[:-1], np.full(runs, -np.inf)
    following, now = coming[:, 0].copy(), servers[0].copy()
    place = np.arange(runs) * jobs
    coming, rank, by_rank = coming.ravel(), rank.ravel(), by_rank.ravel()
    to_start = runs * jobs
    while to_start:
        idle = waiting.nobody()
        np.maximum(now, following, out=now, where=idle)
        due = following <= now
        here = due.nonzero()[0]
        if here.size:
            index = place.take(here)
            waiting.add(here, rank.take(index))
            place[here] = index = index + 1
            following[here] = soon = coming.take(index + here)  # its rows are longer by one
            due[here] = soon <= now.take(here)
            idle[here] = False
        ready = (~(due | idle)).nonzero()[0]
        if ready.size:
            first = ready * jobs + waiting.take_first(ready)
            begins = now.take(ready)
            ends[ready] = begins + by_rank.take(first)
            by_rank[first] = begins
            # The sorted row without its first and with `ends` in its place; before all of them, it changes nothing.
            np.minimum(servers[1:], np.maximum(busy, ends), out=busy)
            ends.fill(-np.inf)
            np.maximum(now, servers[0], out=now)
            to_start -= ready.size


class _Waiting:
    """Who waits in each run: a bit for each rank, above it one for each word of 64 with a bit set, and so on to one."""

    def __init__(self, runs: int, ranks: int) -> None:
        widths = [-(-ranks // 64)]
        while widths[-1] > 1:
            widths.append(-(-widths[-1] // 64))
        self._levels = [(width, np.zeros(runs * width, dtype=np.uint64)) for width in widths]
        self._top = self._levels[-1][1]

    def nobody(self) -> NDArray[np.bool_]:
        empty: NDArray[np.bool_] = self._top == 0
        return empty

    def add(self, runs: Places, ranks: Places) -> None:
        for width, words in self._levels:
            above = ranks >> 6
            at = runs * width + above
            words[at] = words.take(at) | _BITS.take(ranks & 63)
            ranks = above

    def take_first(self, runs: Places) -> Places:
        """The lowest rank of each of these runs, in each of which somebody waits."""
        first: Places = np.zeros(len(runs), dtype=np.intp)
        found = []
        for width, words in reversed(self._levels):
            at = runs * width + first
            word = words.take(at)
            without = word & (word - _ONE)
            found.append((words, at, word, without))
            first = (first << 6) + np.bitwise_count((word ^ without) - _ONE)
        emptied: bool | NDArray[np.bool_] = True
        for words, at, word, without in reversed(found):
            words[at] = now = np.where(emptied, without, word)
            emptied = now == 0
        return first
