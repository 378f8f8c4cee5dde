"""What the wearer takes home in a calendar: the hours of each day to come and the review, and nothing of who it is."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime

from app.fitting.rules.plan import PlanDay, hours_words
from app.trade.calendars import Event
from app.trade.sentences import Language

MINUTES = 30
"""How long a review is taken to last, from memory; its end is not recorded."""


def events(
    days: Iterable[PlanDay],
    review_on: date | None,
    appointment: datetime | None,
    language: Language,
    clinic: str,
    today: date,
    now: datetime,
    together: Mapping[date, int] = {},
) -> list[Event]:
    """From today until the review, if one is set; `appointment` is in the lab's zone.

    A file read in again replaces what an earlier one said of a day. `together` are the minutes by day of all pairs of
    a wearer of several: a new pair's own hours stand beside them, and another pair's file does not replace them.
    """
    last = appointment.date() if appointment else review_on
    stop = f"{language.say('stop_title')}: {clinic}"
    rows = [
        Event(
            f"{'own-' if together.get(day, 0) > minutes else ''}hours-{day:%Y%m%d}@pairtrail",
            _title(language, minutes, together.get(day, 0)),
            day,
            now,
            words=stop,
        )
        for _, day, minutes, _ in days
        if day >= today and (last is None or day < last)
    ]
    if when := appointment or review_on:
        title = language.say("event_review")
        rows.append(Event(f"review-{last:%Y%m%d}@pairtrail", title, when, now, minutes=MINUTES, words=clinic))
    return rows


def _title(language: Language, minutes: int, together: int) -> str:
    own = language.say("event_day", hours=hours_words(minutes))
    return f"{own}; {language.say('all_together', hours=hours_words(together))}" if together > minutes else own
