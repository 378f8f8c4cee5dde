"""Which months a period holds, and whether a promise was kept."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

PERIODS = {1: "this month", 3: "the last 3 months", 6: "the last 6 months", 12: "the last 12 months"}


def first_month(today: date, months: int) -> int:
    """The first of so many months that end with today's, as 202611."""
    index = today.year * 12 + today.month - 1 - (months - 1)
    return index // 12 * 100 + index % 12 + 1


def too_late(promised: date, zone: str) -> datetime:
    """The first instant after the promised day of the lab's zone. Kept: the pair stood at To dispense, at the clinic,
    before it."""
    return datetime.combine(promised + timedelta(days=1), time(), ZoneInfo(zone))
