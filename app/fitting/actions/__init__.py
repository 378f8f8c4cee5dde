"""Changing what the clinic knows of a pair: each act moves the pair once and writes what belongs to it in one go."""

from collections.abc import Callable, Mapping

from app.bench.actions import Moved
from app.fitting.actions.contacting import book, no_show, tell, uncollected
from app.fitting.actions.dispensing import dispense, hold_back, undo_dispense
from app.fitting.actions.measuring import add_photo, may_measure, measure
from app.fitting.actions.reviewing import (
    adjust,
    close,
    hold_recheck,
    keep_wearing,
    note_request,
    refurbish,
    reopen,
    settle,
    stop_wearing,
    withdraw,
)

__all__ = [
    "ACTS",
    "add_photo",
    "hold_back",
    "hold_recheck",
    "may_measure",
    "measure",
    "stop_wearing",
    "undo_dispense",
]

ACTS: Mapping[str, Callable[..., Moved]] = {
    "dispense": dispense,
    "tell": tell,
    "book": book,
    "no_show": no_show,
    "adjust": adjust,
    "keep_wearing": keep_wearing,
    "settle": settle,
    "note_request": note_request,
    "close": close,
    "uncollected": uncollected,
    "refurbish": refurbish,
    "withdraw": withdraw,
    "reopen": reopen,
}
