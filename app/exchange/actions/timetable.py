"""What is done from time to time without anybody asking, a row a job, and what the topics of the outbox mean."""

from collections.abc import Callable, Mapping, Sequence
from datetime import timedelta
from functools import partial
from typing import Any, NamedTuple

from sqlmodel import Session

from app import outbox
from app.bench import actions as bench
from app.database import Database
from app.exchange.actions import mailing, telling
from app.orders.actions.drafts import drop_old_drafts
from app.outbox import Handler
from app.people import actions as people
from app.settings import Settings
from app.turnaround import actions as turnaround


class Job(NamedTuple):
    """`step` does one short transaction's worth and returns how many rows it changed; 0 when nothing is left.

    Short, because on SQLite whoever writes keeps every bench waiting. A step may be done again after a failure. What
    reads much puts a row into the outbox instead, whose handler reads in a transaction that keeps nobody waiting.
    """

    name: str
    every: timedelta
    step: Callable[[Session], int]


def _look(topic: str, every: timedelta) -> Job:
    def step(db: Session) -> int:
        outbox.put_once(db, topic)
        return 0

    return Job(topic, every, step)


DAY = timedelta(days=1)
TIMETABLE = (
    Job("drop_old_keys", DAY, bench.drop_old_keys),
    Job("drop_old_sessions", DAY, people.drop_old_sessions),
    Job("drop_old_outbox", DAY, outbox.drop_old),
    Job("drop_old_drafts", DAY, drop_old_drafts),
    Job("drop_old_letters", DAY, telling.drop_old_letters),
    Job("count_anew", timedelta(minutes=1), turnaround.count_anew),
    Job("look_at_months", timedelta(minutes=5), turnaround.look_at_months),
    Job("look_ahead", timedelta(minutes=15), turnaround.look_ahead),
    Job("look_at_weeks", timedelta(hours=1), turnaround.look_at_weeks),
)
LOOKS = (
    _look("look_at_flags", timedelta(minutes=5)),
    _look("tell_mornings", timedelta(minutes=5)),
    _look("tell_month", timedelta(hours=1)),
)
"""What mail wants looked at; nobody looks where none is sent."""
_TOLD: Mapping[str, Callable[[Database, dict[str, Any]], None]] = {
    "pair_ready": telling.tell_ready,
    "pair_asked": telling.tell_question,
    "red_flag_noted": telling.look_at_flags,
    "look_at_flags": telling.look_at_flags,
    "tell_mornings": telling.tell_mornings,
    "tell_month": telling.tell_month,
}
"""What is done about each topic that is told to people."""
_DONE: Mapping[str, Callable[[Database], None]] = {
    turnaround.KEEP_MONTHS: turnaround.keep_months,
    turnaround.MAKE_FORECASTS: turnaround.make_forecasts,
    turnaround.BACK_TEST: turnaround.back_test,
}
"""What is done about the others, whether mail is sent or not."""


def timetable(settings: Settings) -> Sequence[Job]:
    return TIMETABLE if settings.lacks_for_mail else TIMETABLE + LOOKS


def handlers(database: Database, settings: Settings) -> Mapping[str, Handler]:
    """Where no mail can be sent, what would have been told is dropped: nobody wants to hear of it weeks later."""
    done: dict[str, Handler] = {topic: partial(_do, do, database) for topic, do in _DONE.items()}
    if settings.lacks_for_mail:
        return done | dict.fromkeys((*_TOLD, telling.MAIL), _drop)
    return done | {topic: partial(handle, database) for topic, handle in _TOLD.items()}


def mail_handlers(database: Database, settings: Settings) -> Mapping[str, Handler]:
    """Apart from the others, because a mail server that is slow or gone must keep nothing else waiting."""
    return {} if settings.lacks_for_mail else {telling.MAIL: partial(mailing.send, database, settings)}


def _do(do: Callable[[Database], None], database: Database, _facts: dict[str, Any]) -> None:
    do(database)


def _drop(_facts: dict[str, Any]) -> None:
    return None
