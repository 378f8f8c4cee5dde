"""What the wearer takes home in a calendar: the hours of each day to come and the review, and nothing of who it is."""

from collections.abc import Iterable
from datetime import date, datetime

from app.fitting.rules.plan import hours_words
from app.trade.calendars import Event
from app.trade.sentences import Language

MINUTES = 30
"""How long a review is taken to last, from memory; its end is not recorded."""


def events(
    days: Iterable[tuple[int, date, int, bool]],
    review_on: date | None,
    appointment: datetime | None,
    language: Language,
    clinic: str,
    today: date,
    now: datetime,
) -> list[Event]:
    """From today until the review, if one is set; `appointment` is in the lab's zone.

    A file read in again replaces what an earlier one said of a day.
    """
    last = appointment.date() if appointment else review_on
    stop = f"{language.say('stop_title')}: {clinic}"
    rows = [
        Event(
            f"hours-{day:%Y%m%d}@pairtrail", language.say("event_day", hours=hours_words(minutes)), day, now, words=stop
        )
        for _, day, minutes, _ in days
        if day >= today and (last is None or day < last)
    ]
    if when := appointment or review_on:
        title = language.say("event_review")
        rows.append(Event(f"review-{last:%Y%m%d}@pairtrail", title, when, now, minutes=MINUTES, words=clinic))
    return rows


def _title(language: Language, minutes: int) -> str:
    return language.say("event_day", hours=hours_words(minutes))
