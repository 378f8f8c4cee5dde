"""Which months a period holds, and whether a promise was kept."""

from collections.abc import Iterable
from datetime import date, datetime
from zoneinfo import ZoneInfo

PERIODS = {1: "this month", 3: "the last 3 months", 6: "the last 6 months", 12: "the last 12 months"}


def first_month(today: date, months: int) -> int:
    """The first of so many months that end with today's, as 202611."""
    index = today.year * 12 + today.month - 1 - (months - 1)
    return index // 12 * 100 + index % 12 + 1


def kept(entered: datetime, promised: date, zone: str) -> bool:
    """Kept: the pair stood at To dispense, at the clinic, on or before the promised day of the lab's zone."""
    return entered.astimezone(ZoneInfo(zone)).date() <= promised


def share(answers: Iterable[bool]) -> tuple[int, int]:
    """How many were kept, of how many."""
    listed = list(answers)
    return sum(listed), len(listed)
