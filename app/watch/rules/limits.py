"""How long is too long? The limits with their defaults, and the moment that every rule is asked at."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

from app.trade import worktime
from app.trade.worktime import WorkCalendar

Unit = Literal["working hours", "working days", "days", "months", "times", "per cent"]


@dataclass(frozen=True, slots=True)
class Limit:
    default: int
    unit: Unit
    words: str
    """What it bounds, as a setting's label."""
    of: str
    """The kind of flag that it raises; where it raises none, what it is for, in words."""
    least: int = 0


LIMITS: dict[str, Limit] = {
    "red_flag_hours": Limit(0, "working hours", "from a reported red flag until it must be looked at", "red_flag"),
    "prescription_change_hours": Limit(
        0, "working hours", "from a changed prescription until the lab must choose", "prescription_changed"
    ),
    "promise_over_days": Limit(1, "days", "after the promised day", "promise_passed"),
    "risk_margin_hours": Limit(
        0, "working hours", "that should be left beside the usual time of the remaining stages", "promise_at_risk"
    ),
    "transit_days": Limit(1, "working days", "on the way beyond the clinic's usual days", "sent_not_received"),
    "unmatched_hours": Limit(4, "working hours", "from an arrival until it is matched", "arrival_unmatched"),
    "capture_days": Limit(5, "working days", "from the order until its captures arrive", "capture_missing"),
    "appointment_margin_days": Limit(0, "days", "between the promised day and the appointment", "appointment_early"),
    "ready_days": Limit(1, "working days", "from ready at the clinic until the wearer is told", "ready_not_told"),
    "told_days": Limit(
        5, "working days", "from telling the wearer until an appointment is booked", "told_no_appointment"
    ),
    "uncollected_days": Limit(28, "days", "that a pair lies ready", "not_collected"),
    "parked_clinic_days": Limit(2, "working days", "that a pair waits on the clinic", "parked_long"),
    "parked_lab_days": Limit(1, "working days", "that a pair waits on the lab", "parked_long"),
    "parked_supplier_days": Limit(5, "working days", "that a pair waits on a supplier", "parked_long"),
    "parked_wearer_days": Limit(10, "working days", "that a pair waits on the wearer", "parked_long"),
    "parked_payer_days": Limit(10, "working days", "that a pair waits on the payer", "parked_long"),
    "no_move_days": Limit(3, "working days", "without any act on a pair", "no_move"),
    "review_over_days": Limit(3, "days", "after the day of the review", "review_overdue"),
    "review_unset_days": Limit(1, "days", "from dispensing until a review is set", "review_not_set"),
    "recheck_over_days": Limit(14, "days", "after the day of the recheck", "recheck_overdue"),
    "recheck_unset_days": Limit(7, "days", "from dispensing until a recheck is set", "recheck_not_set"),
    "early_days": Limit(14, "days", "of wearing in before an adjustment, where no review is set", "adjustment_early"),
    "sent_back_times": Limit(2, "times", "that a pair is sent back in one visit", "sent_back_often", least=1),
    "adjusted_times": Limit(2, "times", "that a pair is adjusted", "second_adjustment", least=1),
    "belongings_days": Limit(
        2, "working days", "from a pair's end until its belongings are accounted for", "belongings_open"
    ),
    "low_stock_hours": Limit(0, "working hours", "from little in stock until somebody must look at it", "low_stock"),
    "expired_days": Limit(0, "days", "after a lot's last day, while some of it is in stock", "lot_expired"),
    "put_off_days": Limit(60, "days", "that a flag can be put off", "Setting a flag aside", least=1),
}
"""Common practice or plain sense, no source: each lab changes them."""


@dataclass(frozen=True, slots=True)
class Moment:
    """What a rule is asked at: an aware instant, the lab's working calendar, and what the lab changed of the limits."""

    now: datetime
    calendar: WorkCalendar
    changed: Mapping[str, int] = field(default_factory=dict)

    @property
    def today(self) -> date:
        return self.day_of(self.now)

    def limit(self, name: str) -> int:
        return self.changed.get(name, LIMITS[name].default)

    def limit_words(self, name: str) -> str:
        """The limit as a flag names it: "2 working days after ..."."""
        count, limit = self.limit(name), LIMITS[name]
        unit = limit.unit.removesuffix("s") if count == 1 else limit.unit
        return f"{count} {unit} {limit.words}"

    def reached(self, since: datetime, name: str, beyond: int = 0) -> bool:
        """Whether the limit is reached `since`; `beyond` is added to it, in its unit. A working day is a usual one."""
        count, unit = self.limit(name) + beyond, LIMITS[name].unit
        if unit == "days":
            return self.now - since >= timedelta(days=count)
        minutes = 60 if unit == "working hours" else self.calendar.standard_day_minutes()
        return since <= self.now and self.calendar.minutes_between(since, self.now) >= count * minutes

    def day_reached(self, day: date, name: str) -> bool:
        """Whether as many days as the limit says lie between `day` and today."""
        return (self.today - day).days >= self.limit(name)

    def worked(self, since: datetime) -> str:
        """The working time since then, in words."""
        return self.work_words(self.calendar.minutes_between(since, self.now))

    def work_words(self, minutes: int) -> str:
        return f"{worktime.words(minutes, self.calendar.standard_day_minutes())} of working time"

    def day_of(self, instant: datetime) -> date:
        return instant.astimezone(ZoneInfo(self.calendar.zone)).date()

    def start_of(self, day: date) -> datetime:
        return datetime.combine(day, time(), ZoneInfo(self.calendar.zone))

    def day_words(self, day: date) -> str:
        """Thu 26 Nov; with the year when it is not this year's."""
        words = f"{day:%a} {day.day} {day:%b}"
        return words if day.year == self.today.year else f"{words} {day.year}"


def many(count: int, one: str) -> str:
    return f"{count} {one}" if count == 1 else f"{count} {one}s"
