"""A calendar file (iCalendar, RFC 5545) of events; what they are about is known to whoever asks.

Instants are written in UTC, so that no reader needs rules of a zone; days are days wherever they are read.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from icalendar import Calendar
from icalendar import Event as Entry

PRODUCT = "-//Pairtrail//Pairtrail//EN"


@dataclass(frozen=True, slots=True)
class Event:
    """Something in a calendar: `uid` is the same for good, `version` grows when anything of it changes."""

    uid: str
    title: str
    begins: date | datetime
    """A day, or an aware instant."""
    changed_at: datetime
    version: int = 0
    minutes: int = 0
    """How long it lasts from an instant; a day is the whole day."""
    place: str = ""
    words: str = ""
    address: str = ""


def calendar_file(events: Iterable[Event], *, name: str = "Pairtrail") -> bytes:
    """The file's bytes: lines of at most 75 octets that end in CR LF, as calendar programs read them."""
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("name", name)  # RFC 7986, 5.1; the next line is what older programs look for, from memory
    calendar.add("x-wr-calname", name)
    for event in events:
        calendar.add_component(_entry(event))
    return bytes(calendar.to_ical())


def _entry(event: Event) -> Entry:
    entry = Entry()
    changed = event.changed_at.astimezone(UTC)
    # Without a METHOD, DTSTAMP is when the event was last changed (RFC 5545, 3.8.7.2): equal events give equal bytes.
    for key, value in (("uid", event.uid), ("dtstamp", changed), ("last-modified", changed)):
        entry.add(key, value)
    entry.add("sequence", event.version)
    entry.add("summary", event.title)
    if isinstance(event.begins, datetime):
        begins = event.begins.astimezone(UTC)
        entry.add("dtstart", begins)
        entry.add("dtend", begins + timedelta(minutes=event.minutes))
    else:
        entry.add("dtstart", event.begins)
        entry.add("transp", "TRANSPARENT")  # something of the day takes no time of it
    for key, words in (("location", event.place), ("description", event.words), ("url", event.address)):
        if words:
            entry.add(key, words)
    return entry
