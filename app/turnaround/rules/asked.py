"""What somebody wants to know: over which months, and of which pairs; in words and as an address."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Protocol
from zoneinfo import ZoneInfo

import numpy as np

from app.bench.rules.stages import STAGES, WAY_WORDS, WAYS
from app.errors import BadInput
from app.orders.rules import MATERIALS
from app.turnaround.rules.columns import REASONS, ROWS, SHELLS, WAY, Numbers, code
from app.turnaround.rules.periods import PERIODS, first_month

USUAL = 3
FIRST, LAST = 197001, 219911
"""Months that can be asked for: those in which working time is known."""
REASON_WORDS = {
    "new": "new pairs",
    "adjustment": "adjustments",
    "refurbishment": "refurbishments",
    "remake": "remakes",
    "recheck": "rechecks",
}
SIDES_WORDS = {"1": "one side", "2": "both sides"}


class Filtered(Protocol):
    """The columns by which anything can be narrowed."""

    @property
    def clinic(self) -> Numbers: ...
    @property
    def way(self) -> Numbers: ...
    @property
    def reason(self) -> Numbers: ...
    @property
    def shell(self) -> Numbers: ...
    @property
    def sides(self) -> Numbers: ...


@dataclass(frozen=True, slots=True)
class Asked:
    """Months as 202611, both included; what is None is not narrowed."""

    first: int
    last: int
    months: int | None = USUAL
    """The preset that these months are, if they are one."""
    clinic: int | None = None
    way: str | None = None
    reason: str | None = None
    shell: str | None = None
    sides: int | None = None
    row: str = WAY
    """The stage that is looked at closely, or the whole way."""
    bands: bool = False

    def span(self, zone: str) -> tuple[datetime, datetime]:
        """From the first instant of the first month to the first one after the last."""
        at = ZoneInfo(zone)
        begins, ends = day_of(self.first), day_of(following(self.last))
        return datetime(begins.year, begins.month, 1, tzinfo=at), datetime(ends.year, ends.month, 1, tzinfo=at)

    def matches(self, table: Filtered, where: slice) -> Numbers | None:
        """Which of a table's entries are asked for; None where all are."""
        wanted = (
            (self.clinic, table.clinic),
            (None if self.way is None else code(self.way, WAYS), table.way),
            (None if self.reason is None else code(self.reason, REASONS), table.reason),
            (None if self.shell is None else code(self.shell, SHELLS), table.shell),
            (self.sides, table.sides),
        )
        tests = [column[where] == value for value, column in wanted if value is not None]
        return np.logical_and.reduce(tests) if tests else None

    def address(self, path: str = "/turnaround", **other: object) -> str:
        """The page of this, or of something else in one respect."""
        period = {"months": self.months} if self.months else {"from": dashed(self.first), "to": dashed(self.last)}
        narrow = {name: getattr(self, name) for name in ("clinic", "way", "reason", "shell", "sides")}
        more = {"stage": None if self.row == WAY else self.row, "bands": "yes" if self.bands else None}
        found = {name: value for name, value in {**period, **narrow, **more, **other}.items() if value is not None}
        # Numbers and names of our own lists alone: nothing in them has to be escaped.
        return f"{path}?" + "&".join(f"{name}={value}" for name, value in found.items())

    def words(self, clinic: str = "") -> str:
        """The period and each filter, for a heading; `clinic` is its name."""
        period = PERIODS[self.months] if self.months else _months_words(self.first, self.last)
        parts = [period, f"at {clinic}" if clinic else ""]
        parts += [WAY_WORDS[self.way].lower()] if self.way else []
        parts += [REASON_WORDS[self.reason]] if self.reason else []
        parts += [f"shells of {MATERIALS[self.shell]}"] if self.shell else []
        parts += [SIDES_WORDS[str(self.sides)]] if self.sides else []
        return ", ".join(part for part in parts if part)

    @property
    def stays(self) -> "Asked":
        """What of this stays depend on: not what is looked at closely, nor how the months were named."""
        return replace(self, months=None, row=WAY, bands=False)

    @property
    def narrowed(self) -> bool:
        return any(each is not None for each in (self.clinic, self.way, self.reason, self.shell, self.sides))


CHOICES: Mapping[str, tuple[str, ...]] = {
    "way": tuple(WAYS),
    "reason": REASONS,
    "shell": SHELLS,
    "sides": tuple(SIDES_WORDS),
    "stage": ROWS,
}


def read_asked(typed: Mapping[str, str], today: date, clinics: Mapping[int, str]) -> Asked:
    """From an address. BadInput names each field that can't be; an empty one narrows nothing."""
    wrong: dict[str, str] = {}
    months, first, last = _period(typed, today, wrong)
    chosen = {name: _choice(typed, name, wrong) for name in CHOICES}
    clinic = typed.get("clinic", "").strip()
    known = {str(number): number for number in clinics}
    if clinic and clinic not in known:
        wrong["clinic"] = f"There is no clinic {clinic[:20]!r}; choose one of the list."
    if wrong:
        raise BadInput(" ".join(wrong.values()), wrong)
    return Asked(
        first,
        last,
        months,
        known.get(clinic),
        chosen["way"],
        chosen["reason"],
        chosen["shell"],
        int(chosen["sides"]) if chosen["sides"] else None,
        chosen["stage"] or WAY,
        typed.get("bands") == "yes",
    )


def usual(today: date) -> Asked:
    """What the page shows when nothing can be made of its address."""
    return Asked(first_month(today, USUAL), month_of(today))


def preset(asked: Asked, months: int, today: date) -> Asked:
    return replace(asked, months=months, first=first_month(today, months), last=month_of(today))


def row_words(row: str) -> str:
    return STAGES[row].queue if row in STAGES else "The whole way"


def month_of(day: date) -> int:
    return day.year * 100 + day.month


def day_of(month: int) -> date:
    return date(month // 100, month % 100, 1)


def following(month: int) -> int:
    return month + 89 if month % 100 == 12 else month + 1


def dashed(month: int) -> str:
    return f"{month // 100}-{month % 100:02d}"


def _period(typed: Mapping[str, str], today: date, wrong: dict[str, str]) -> tuple[int | None, int, int]:
    begins, ends = typed.get("from", "").strip(), typed.get("to", "").strip()
    if begins or ends:
        last = _month(ends, "to", wrong) if ends else month_of(today)
        first = _month(begins, "from", wrong) if begins else last
        if not wrong and first > last:
            wrong["from"] = f"The first month, {dashed(first)}, comes after the last, {dashed(last)}."
        return None, first, last
    months = typed.get("months", "").strip() or str(USUAL)
    if months not in map(str, PERIODS):
        wrong["months"] = f"Figures are of the last {', '.join(map(str, PERIODS))} months, or from a month to another."
        months = str(USUAL)
    return int(months), first_month(today, int(months)), month_of(today)


def _month(text: str, name: str, wrong: dict[str, str]) -> int:
    year, dash, month = text.partition("-")
    digits = year + month
    if dash and len(year) == 4 and len(month) == 2 and digits.isascii() and digits.isdecimal():
        number = int(digits)
        if FIRST <= number <= LAST and 1 <= number % 100 <= 12:
            return number
    wrong[name] = f"A month reads like 2026-03; {text[:20]!r} is not one."
    return FIRST


def _choice(typed: Mapping[str, str], name: str, wrong: dict[str, str]) -> str | None:
    value = typed.get(name, "").strip()
    if value and value not in CHOICES[name]:
        wrong[name] = f"{name.capitalize()} is one of {', '.join(CHOICES[name])}; {value[:20]!r} is not."
    return value or None


def _months_words(first: int, last: int) -> str:
    begins, ends = day_of(first), day_of(last)
    if first == last:
        return f"{begins:%B %Y}"
    return f"{begins:%B %Y} to {ends:%B %Y}" if begins.year != ends.year else f"{begins:%B} to {ends:%B %Y}"
