"""Telling the wearer, booking, and giving up: what counts as an attempt and how long an uncollected pair is kept."""

from collections.abc import Collection, Mapping
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from app.errors import Unready
from app.trade import codes

HOW = {
    "telephone": "by telephone",
    "text": "by text message",
    "mail": "by e-mail",
    "letter": "by letter",
    "person": "in person",
}
WHO = {"wearer": "the wearer", "family": "the family or a carer", "left_word": "nobody: word was left"}
CLOSE_AFTER_ATTEMPTS = 3
UNCOLLECTED_AFTER_DAYS = 60
"""Defaults of a lab that has set none of its own; no source."""


def read_telling(facts: Mapping[str, Any], wrong: dict[str, str]) -> tuple[str, str]:
    how, who = str(facts.get("how")), str(facts.get("who") or "wearer")
    if how not in HOW:
        wrong["how"] = f"How the wearer was told: one of {', '.join(HOW)}."
    if who not in WHO:
        wrong["who"] = f"Who was told: one of {', '.join(WHO)}."
    return how, who


def usual_what(stage: str | None) -> str:
    return "review" if stage == "wear_in" else "fitting"


def read_what(raw: Any, stage: str | None, wrong: dict[str, str]) -> str:
    """The appointment that is meant; a fitting before wearing in, a review during it."""
    what = str(raw or usual_what(stage))
    if what != usual_what(stage):
        wrong["what"] = f"As the pair stands it can be a {usual_what(stage)}; '{what[:20]}' is not possible."
    return what


def read_also(raw: Any, others: Collection[str], wrong: dict[str, str]) -> list[str]:
    """Codes of the wearer's other pairs that the appointment is for, too; `others` are those it can be for."""
    said = raw if isinstance(raw, list | tuple) else [raw] if raw else []
    found = [_code(str(each)) for each in said]
    if unknown := [code[:20] for code in found if code not in others]:
        can = f" It can be for {' and '.join(others)}, too." if others else ""
        wrong["also"] = f"'{unknown[0]}' is no other pair of this wearer that is open for review here.{can}"
    return sorted(set(found))


def _code(text: str) -> str:
    """As pairs are called, with or without hyphens; what can't be a code stays as it is."""
    try:
        return codes.parse(text)
    except ValueError:
        return text


def read_instant(raw: Any, zone: str, now: datetime, wrong: dict[str, str]) -> datetime | None:
    """An ISO instant to come; without an offset it is wall time in the lab's zone, as a form sends it."""
    try:
        at = datetime.fromisoformat(str(raw or ""))
        at = at.replace(tzinfo=ZoneInfo(zone)) if at.tzinfo is None else at
        at = at.astimezone(UTC)
    except (ValueError, OverflowError):
        wrong["at"] = "An appointment reads like 2026-12-04T10:30."
        return None
    if at < now:
        wrong["at"] = "This time is over; book one that is to come."
    elif at > now + timedelta(days=730):
        wrong["at"] = "This is more than two years away; check the year."
    return at


def early_words(fitting: date | None, promised: date | None) -> str:
    """What to say when a fitting was booked for a day before the pair is promised; empty when it fits."""
    if fitting is None or promised is None or fitting >= promised:
        return ""
    return "The fitting is booked for a day before the pair is promised: ask the lab, or move the appointment."


def check_attempts(code: str, attempts: int, wanted: int) -> None:
    if attempts < wanted:
        raise Unready(
            f"{code} can be closed without a review after {wanted} recorded attempts to reach the wearer; "
            f"there {'is' if attempts == 1 else 'are'} {attempts}. Record each: told, or did not come."
        )


def check_uncollected(code: str, first_told: datetime | None, now: datetime, days: int) -> None:
    """The days are counted from the first time the wearer was told that the pair is there."""
    if first_told is None:
        raise Unready(f"Nobody has told the wearer of {code} that it is there; tell first.")
    left = first_told + timedelta(days=days) - now
    if left > timedelta():
        raise Unready(
            f"The wearer of {code} was first told {(now - first_told).days} days ago; a pair counts as never collected "
            f"after {days}. {left.days + 1} to go."
        )
