"""Changing what the clinic knows of a pair: each act moves the pair once and writes what belongs to it in one go."""

from collections.abc import Callable, Mapping

from app.bench.actions import Moved
from app.fitting.actions.at_home import (
    NOT_OPEN,
    NOTES_BY_LINK,
    WRONG_LINKS,
    clear_notes,
    count_note,
    count_wrong_link,
    give_page,
    note,
    open_page,
    withdraw_page,
)
from app.fitting.actions.contacting import book, no_show, tell, uncollected
from app.fitting.actions.dispensing import dispense, hold_back, undo_dispense
from app.fitting.actions.measuring import add_photo, may_measure, measure
from app.fitting.actions.planning import drop_plan, keep_plan
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
    "NOTES_BY_LINK",
    "NOT_OPEN",
    "WRONG_LINKS",
    "add_photo",
    "clear_notes",
    "count_note",
    "count_wrong_link",
    "drop_plan",
    "give_page",
    "hold_back",
    "hold_recheck",
    "keep_plan",
    "may_measure",
    "measure",
    "note",
    "open_page",
    "stop_wearing",
    "undo_dispense",
    "withdraw_page",
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
