"""What is done from time to time without anybody asking: the timetable, a row a job."""

from collections.abc import Callable, Mapping
from datetime import timedelta
from typing import NamedTuple

from sqlmodel import Session

from app import outbox
from app.bench import actions as bench
from app.orders.actions.drafts import drop_old_drafts
from app.outbox import Handler
from app.people import actions as people


class Job(NamedTuple):
    """`step` does one short transaction's worth and returns how many rows it changed; 0 when nothing is left.

    Short, because on SQLite whoever writes keeps every bench waiting. A step may be done again after a failure.
    """

    name: str
    every: timedelta
    step: Callable[[Session], int]


DAY = timedelta(days=1)
TIMETABLE = (
    Job("drop_old_keys", DAY, bench.drop_old_keys),
    Job("drop_old_sessions", DAY, people.drop_old_sessions),
    Job("drop_old_outbox", DAY, outbox.drop_old),
    Job("drop_old_drafts", DAY, drop_old_drafts),
)
HANDLERS: Mapping[str, Handler] = {}
"""What is done about each topic of the outbox. No room sends anything yet; mail adds its own."""
