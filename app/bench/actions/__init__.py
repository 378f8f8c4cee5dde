"""Changing pairs. `move` alone writes moves; everything else that changes a pair goes through it."""

from app.bench.actions.checking import amend, check_in, promise, recapture
from app.bench.actions.moving import Moved, move, work_by
from app.bench.actions.once import drop_old_keys, once
from app.bench.actions.photos import attach
from app.bench.actions.placing import Placed, place
from app.bench.actions.setting_up import keep_sheet, set_up_bench
from app.bench.actions.transferring import transfer

__all__ = [
    "Moved",
    "Placed",
    "amend",
    "attach",
    "check_in",
    "drop_old_keys",
    "keep_sheet",
    "move",
    "once",
    "place",
    "promise",
    "recapture",
    "set_up_bench",
    "transfer",
    "work_by",
]
