"""The pairs behind a bar or a point: those that are there so long, those that left in a week or came too late."""

from collections.abc import Mapping
from datetime import date, timedelta
from typing import NamedTuple

from sqlmodel import Session

from app.turnaround.queries import looked
from app.turnaround.queries.listing import Listed, listed
from app.turnaround.rules.asked import Asked, row_words
from app.turnaround.rules.columns import LATE, WAY
from app.turnaround.rules.tabled import CLOCK_DAY
from app.turnaround.rules.times import is_bench
from app.turnaround.rules.weeks import WEEK, day_words, instant

LONGEST = 10_000
"""Days that can be asked for."""


class Behind(NamedTuple):
    title: str
    rows: list[Listed]
    pairs: int
    """How many there are in all; `rows` may hold the longest alone."""
    day: int
    """Minutes of a day there."""


def behind(db: Session, asked: Asked, typed: Mapping[str, str], errors: dict[str, str], most: int | None) -> Behind:
    """`errors` gets what can't be read of `typed`; nothing is listed then."""
    seen, counted = looked(db, asked)
    day = counted.hours.standard_day_minutes() if is_bench(asked.row) else CLOCK_DAY
    if typed.get("week"):
        monday = _week(typed["week"], errors)
        begins, ends = (instant(each, counted.hours.zone) for each in (monday, monday + WEEK))
        gone = seen.gone(asked.row, begins, ends)
        late = asked.row == WAY and typed.get("late") == "yes"
        chosen = gone.kept == LATE if late else slice(None)
        pairs, minutes = gone.pair[chosen], gone.minutes[chosen]
        title = f"{'Came to To dispense' if asked.row == WAY else 'Left ' + row_words(asked.row)} "
        title += f"{'after the promised day ' if late else ''}in the week of {day_words(monday)}"
    else:
        low, high = _age(typed.get("age", ""), errors)
        here = seen.here(asked.row)
        old = seen.standing.minutes[here]
        here = here[(old >= low * day) & (old < high * day)]
        pairs, minutes = seen.standing.pair[here], seen.standing.minutes[here]
        title = f"{'On their way' if asked.row == WAY else row_words(asked.row)}, {_age_words(low, high)}"
    rows, count = ([], 0) if errors else listed(db, pairs.tolist(), minutes.tolist(), most)
    return Behind(title, rows, count, day)


def _week(text: str, errors: dict[str, str]) -> date:
    try:
        day = date.fromisoformat(text)
        if not 1970 < day.year < 2200:
            raise ValueError
    except ValueError:
        errors["week"] = f"A week is named by a day of it, such as 2026-03-02; {text[:20]!r} is none."
        day = date(2000, 1, 3)
    return day - timedelta(days=day.weekday())


def _age(text: str, errors: dict[str, str]) -> tuple[int, int]:
    """Days, as "2-5", or as "20-" where there is no end; nothing is any age."""
    low, _, high = text.partition("-")
    parts = [part or default for part, default in ((low, "0"), (high, str(LONGEST)))]
    if all(part.isascii() and part.isdecimal() and len(part) < 6 for part in parts):
        return min(int(parts[0]), LONGEST), min(int(parts[1]), LONGEST)
    errors["age"] = f"An age reads like 2-5 or 20-, in days; {text[:20]!r} does not."
    return 0, LONGEST


def _age_words(low: int, high: int) -> str:
    if high == LONGEST:
        return f"for {low} days or longer" if low else "of any age"
    return f"for {low} to {high} days"
