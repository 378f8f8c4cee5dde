"""What the wearer takes home in a calendar: the hours of each day to come and the review, and nothing of who it is."""

from collections.abc import Iterable
from datetime import date, datetime

from app.fitting.rules.plan import hours_words
from app.trade.calendar import Event
from app.trade.sentences import Language


def events(
    days: Iterable[tuple[int, date, int, bool]],
    review_on: date | None,
    appointment: datetime | None,
    language: Language,
    clinic: str,
    today: date,
) -> list[Event]:
    """From today until the review, if one is set; `appointment` is in the lab's zone.

    A file read in again replaces what an earlier one said of a day.
    """
    last = appointment.date() if appointment else review_on
    stop = f"{language.say('stop_title')}: {clinic}"
    rows = [
        Event(f"hours-{day:%Y%m%d}@pairtrail", day, language.say("event_day", hours=hours_words(minutes)), stop)
        for _, day, minutes, _ in days
        if day >= today and (last is None or day < last)
    ]
    if when := appointment or review_on:
        rows.append(Event(f"review-{last:%Y%m%d}@pairtrail", when, language.say("event_review"), clinic))
    return rows
