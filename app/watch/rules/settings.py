"""What can a lab set instead of the defaults? The limits of flags, and what promises, closings and shelves go by."""

from collections.abc import Mapping

from app.bench.rules.stages import STANDARD_DAYS, WAY_WORDS
from app.capture.rules import KEPT_MONTHS
from app.errors import BadInput
from app.fitting.rules.contact import CLOSE_AFTER_ATTEMPTS, UNCOLLECTED_AFTER_DAYS
from app.turnaround.rules.forecast.odds import CERTAINTY
from app.watch.rules.kinds import KINDS
from app.watch.rules.limits import LIMITS, Limit, Unit

PROMISE = "The day promised at check-in"
CLOSING = "Closing without a review"
SHELF = "Positives on the shelf"
SETTINGS: dict[str, Limit] = LIMITS | {
    **{
        f"standard_days_{way}": Limit(days, "working days", f"in the lab: {WAY_WORDS[way]}", PROMISE, 1)
        for way, days in STANDARD_DAYS.items()
    },
    "promise_certainty": Limit(CERTAINTY, "per cent", "of promises that are to be kept", PROMISE, 50),
    "positive_months": Limit(KEPT_MONTHS, "months", "that a positive is kept after it was made", SHELF, 1),
    "close_after_attempts": Limit(CLOSE_AFTER_ATTEMPTS, "times", "that the wearer is tried to be reached", CLOSING, 1),
    "uncollected_after_days": Limit(
        UNCOLLECTED_AFTER_DAYS, "days", "after telling the wearer", "Ending a pair as never collected", 1
    ),
}
MOST: dict[Unit, int] = {
    "working hours": 400,
    "working days": 250,
    "days": 730,
    "months": 120,
    "times": 50,
    "per cent": 99,
}
"""Plain sense, no source: a larger limit is a slip of the hand, and its flag would never be seen."""


def read_limits(typed: Mapping[str, str]) -> dict[str, int | None]:
    """What a lab sets instead, by name; None is the default again. A limit that was not sent stays as it is."""
    read = {name: _read(typed[name].strip(), limit) for name, limit in SETTINGS.items() if name in typed}
    wrong = {name: value for name, value in read.items() if isinstance(value, str)}
    if wrong:
        raise BadInput("The limits need another look; nothing was changed.", wrong)
    return {name: value for name, value in read.items() if not isinstance(value, str)}


def title(limit: Limit) -> str:
    """What the limit is of, for people."""
    return KINDS[limit.of].title if limit.of in KINDS else limit.of


def _read(raw: str, limit: Limit) -> int | str | None:
    """The number; None for an empty field; the sentence for anything else."""
    if not raw:
        return None
    most = MOST[limit.unit]
    if raw.isascii() and raw.isdecimal() and len(raw) < 9 and limit.least <= int(raw) <= most:
        return int(raw)
    return f"{title(limit)}: a whole number of {limit.unit} from {limit.least} to {most}; '{raw[:20]}' is not."
