"""What time is it? The one place that asks the system; the demo and tests may shift it, nobody else.

Instants are aware and in UTC everywhere; a day is always a day in a named zone.
"""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

_shift = timedelta()


def now() -> datetime:
    return datetime.now(UTC) + _shift


def today(zone: str) -> date:
    return now().astimezone(ZoneInfo(zone)).date()


def set_shift(shift: timedelta) -> None:
    """For the demo's "next day" and for tests: every later `now()` is this much ahead of the system's clock."""
    global _shift  # noqa: PLW0603 - one clock in a process is the point
    _shift = shift


def shift() -> timedelta:
    return _shift
