"""The wearing-in plan that goes home with the wearer, and who is seen sooner or again: what trade.wearing computes for.

The hours and days themselves are app/trade/wearing.py's; what the review finds is review.py's.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from app.orders.rules import HIGH_RISK
from app.trade import OutOfRange, wearing

TARGETS = {240: "four hours a day", 480: "eight hours a day"}
"""Minutes at which the hours stop rising; common practice, no source."""
SHOWN_DAYS = 14
LONGEST_NAME = 60
PlanDay = tuple[int, date, int, bool]
"""Day number, day, minutes, whether it hurt."""
NUMBERS = {"start_minutes": "The first day", "step_minutes": "The step", "target_minutes": "The hours aimed at"}


@dataclass(frozen=True, slots=True)
class Plan:
    key: str
    start_minutes: int
    step_minutes: int
    target_minutes: int


def own_key(plan_id: object) -> str:
    """What a plan of a clinic's own is called where a published one has its key."""
    return f"own-{plan_id}"


def high_risk(risks: Iterable[str]) -> bool:
    return bool(HIGH_RISK & set(risks))


def recheck_kind(risks: Iterable[str], child: bool) -> str | None:
    """Why a wearer gets rechecks; None for everyone else."""
    return "high_risk" if high_risk(risks) else "child" if child else None


def read_plan(raw: Any, risks: Collection[str], own: Mapping[str, Plan], wrong: dict[str, str]) -> Plan:
    """The plan that was chosen, with what a clinician changed of it; nothing chosen is the usual one for the risks.

    `own` are the clinic's, by key, beside the published ones.
    """
    asked: Mapping[str, Any] = raw if isinstance(raw, Mapping) else {}
    if raw is not None and not isinstance(raw, Mapping):
        wrong["plan"] = "A wearing-in plan has a key and, if wanted, minutes."
    for name in set(asked) - {"key", *NUMBERS}:
        wrong[f"plan.{name}"] = f"'{name}' is not part of a wearing-in plan."
    usual = wearing.usual("sensation_loss" in risks)
    key = str(asked.get("key") or usual.key)
    offered: Mapping[str, wearing.Plan | Plan] = {**wearing.PLANS, **own}
    if key not in offered:
        wrong["plan.key"] = f"One of {', '.join(offered)}; '{key[:20]}' is none of them."
    chosen = offered.get(key, usual)
    numbers = {name: _minutes(asked.get(name), getattr(chosen, name), name, wrong) for name in NUMBERS}
    plan = Plan(chosen.key, **numbers)
    if not wrong:
        _check(plan, "plan.", wrong)
    return plan


def read_own(raw: Mapping[str, str], taken: Collection[str], wrong: dict[str, str]) -> tuple[str, Plan]:
    """A plan of a clinic's own as it was typed: its name, and three numbers. `taken` are the names of its others."""
    name = " ".join(raw.get("name", "").split())
    published = [plan.words.casefold() for plan in wearing.PLANS.values()]
    if not 1 <= len(name) <= LONGEST_NAME:
        wrong["name"] = f"A plan needs a name of at most {LONGEST_NAME} characters."
    elif name.casefold() in {*(each.casefold() for each in taken), *published}:
        wrong["name"] = f"'{name}' is the name of another plan here; give this one its own."
    typed = {each: raw.get(each, "").strip() for each in NUMBERS}
    for each in [each for each in NUMBERS if not typed[each]]:
        wrong[each] = f"{NUMBERS[each]} is missing: so many minutes."
    start, step, target = (_minutes(typed[each] or "1", 1, each, wrong, "") for each in NUMBERS)
    plan = Plan("", start, step, target)
    if not wrong:
        _check(plan, "", wrong)
    if not wrong and not step and start < target:
        wrong["step_minutes"] = f"Without a step the hours never come from {start} to {target} minutes."
    return name, plan


def _check(plan: Plan, before: str, wrong: dict[str, str]) -> None:
    try:
        wearing.hours(plan.start_minutes, plan.step_minutes, plan.target_minutes, 1)
    except OutOfRange as fault:
        wrong[f"{before}{fault.field.replace(' ', '_')}"] = f"{str(fault).capitalize()}"


def _minutes(raw: Any, usual: int, name: str, wrong: dict[str, str], before: str = "plan.") -> int:
    if raw in (None, ""):
        return usual
    text = str(raw).strip()
    if isinstance(raw, bool) or not text.isdecimal() or len(text) > 5:
        wrong[f"{before}{name}"] = f"{NUMBERS[name]} is a whole number of minutes; '{text[:20]}' is not."
        return usual
    return int(text)


def read_painful(raw: Any, day_number: int, field: str, wrong: dict[str, str]) -> list[int]:
    """Numbers of the days on which it hurt, 1 the day of dispensing, none later than `day_number`, today's.

    Given as a list of numbers or typed with commas or spaces between.
    """
    words = [str(each) for each in raw] if isinstance(raw, list | tuple) else str(raw).replace(",", " ").split()
    days = [int(word) for word in words if word.isdecimal() and len(word) < 5]
    if len(days) != len(words) or any(not 1 <= day <= day_number for day in days):
        wrong[field] = f"Days are numbered from 1, the day of dispensing, to {day_number}, today."
    return days


def hours_words(minutes: int) -> str:
    """90 is "1 h 30 min"."""
    hours, rest = divmod(minutes, 60)
    return "\u00a0".join(
        part for part in (f"{hours}\u00a0h" if hours else "", f"{rest}\u00a0min" if rest else "") if part
    )


def days_of(from_day: date, start: int, step: int, target: int, painful: Collection[int], today: date) -> list[PlanDay]:
    """From dispensing until the hours have stopped rising or today's day; two weeks at least, ten weeks at most."""
    reached = (target - start + step - 1) // step + 1 if step else 1
    many = min(max(SHOWN_DAYS, reached + len(painful), (today - from_day).days + 1), 70)
    minutes = wearing.hours(start, step, target, many, frozenset(painful))
    return [
        (number, from_day + timedelta(days=number - 1), each, number in painful)
        for number, each in enumerate(minutes, start=1)
    ]


def numbers_of(from_day: date, days: Iterable[date]) -> set[int]:
    """Days as a plan numbers them; those before its first day are none of its own."""
    return {number for day in days if (number := (day - from_day).days + 1) >= 1}


def together(plans: Collection[Sequence[PlanDay]]) -> dict[date, int]:
    """How many minutes a day a wearer wears all pairs together, from the plans of those that are being worn in.

    The hours of a day are one budget, for it is the foot that gets used to the support: a pair that comes later
    neither sets an earlier one's hours back nor comes on top of them. All pairs together are worn no longer than the
    plan that allows most on that day, and each no longer than its own plan says, because a new device begins anew.
    Past its last day a plan stays where it was, before its first it allows nothing. Common practice, no source.
    """
    days = sorted({day for each in plans for _, day, _, _ in each})
    return {day: max(_minutes_on(each, day) for each in plans) for day in days}


def _minutes_on(days: Sequence[PlanDay], day: date) -> int:
    """Of a plan's days, which follow each other without a gap."""
    number = (day - days[0][1]).days
    return days[min(number, len(days) - 1)][2] if number >= 0 else 0
