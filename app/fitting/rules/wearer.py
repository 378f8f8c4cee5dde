"""The wearer's own page: what may be noted of a day, how long the hours are held by it, how long the link is good.

The hours themselves are app/trade/wearing.py's, and its rule that they do not rise after a painful day.
"""

from collections.abc import Callable, Iterable, Sequence
from datetime import date, timedelta
from typing import NamedTuple

from app.errors import BadInput

WORN = (0, 30, 60, 90, 120, 180, 240, 300, 360, 480, 600)
"""Minutes that the buttons offer."""
COMFORT = {1: "it hurts", 2: "sore", 3: "notices them", 4: "good", 5: "very good"}
WORST = 1
"""A day of this comfort is a painful one."""
SKIN = {
    "clear": "no mark",
    "mark_gone": "a mark, gone within 30 minutes",
    "red_flag": "a mark that stays, or a cut, blister, change of colour, swelling or warmth",
}
"""The last after the red flags of three public services' leaflets."""
RED_FLAG = "red_flag"
FLAG_WORDS = "skin, noted by the wearer at home"
GRACE = timedelta(days=1)
"""So long a link is good after the review's day; plain sense, no source."""


class Day(NamedTuple):
    """What was noted of a day, by its number, 1 the day of dispensing."""

    number: int
    minutes: int | None = None
    comfort: int | None = None
    skin: str | None = None
    flagged: bool = False
    cleared: int | None = None
    """Number of the day on which a clinician cleared what holds the hours."""


def read_answer(name: str, value: str) -> tuple[str, int | str]:
    """One answer of the page, as it is kept: `minutes`, `comfort` or `skin`."""
    known: dict[str, dict[str, int | str]] = {
        "minutes": {str(each): each for each in WORN},
        "comfort": {str(each): each for each in COMFORT},
        "skin": {each: each for each in SKIN},
    }
    if value not in known.get(name, {}):
        raise BadInput("That is not one of the answers on this page.", {name[:20]: "Tap one of the buttons."})
    return name, known[name][value]


def held_days(days: Sequence[Day], today: int) -> set[int]:
    """Numbers of the days after which the hours do not rise, up to `today`.

    A painful day counts until a better one is noted, a red flag until a clinician has cleared it; a day without a note
    says nothing of either. What was cleared the same day holds for that day alone.
    """
    held: set[int] = set()
    for day in days:
        ends = _flag_ends(day, today) if day.flagged else 0
        if day.comfort == WORST:
            ends = max(ends, _pain_ends(day, days, today))
        held |= set(range(day.number, ends + 1))
    return held


def _flag_ends(day: Day, today: int) -> int:
    return today if day.cleared is None else max(day.number, day.cleared - 1)


def _pain_ends(day: Day, days: Iterable[Day], today: int) -> int:
    better = [each.number for each in days if each.number > day.number and (each.comfort or WORST) > WORST]
    ends = min(better) - 1 if better else today
    return ends if day.cleared is None else min(ends, max(day.number, day.cleared - 1))


def stopped_by(days: Iterable[Day]) -> Day | None:
    """The first red flag that nobody has cleared: the pair is not worn."""
    return next((day for day in days if day.flagged and day.cleared is None), None)


def hurts(days: Iterable[Day]) -> bool:
    """Whether what was noted last of the comfort is pain that nobody has cleared."""
    told = [day for day in days if day.comfort is not None]
    return bool(told) and told[-1].comfort == WORST and told[-1].cleared is None


def good_until(due_on: date, booked_on: date | None) -> date:
    """The last day of a link: the review's day, or its appointment's if that is later, and one more."""
    return max(due_on, booked_on or due_on) + GRACE


def day_words(day: Day, hours: Callable[[int], str]) -> str:
    """What a clinician reads of a day; `hours` puts minutes into words."""
    said = [
        f"{hours(day.minutes) or 'not'} worn" if day.minutes is not None else "",
        COMFORT[day.comfort] if day.comfort else "",
        SKIN[day.skin] if day.skin else "",
    ]
    return ", ".join(words for words in said if words)
