"""A calendar file that other programs read: iCalendar (RFC 5545), as far as days and appointments need it.

The lines are written by hand: each ends in CRLF and is folded at 75 octets, never within a character.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

LONGEST = 75
"""Octets of a line without its end (RFC 5545, 3.1)."""
_ESCAPES = str.maketrans({"\\": "\\\\", ";": "\\;", ",": "\\,", "\n": "\\n", "\r": None})
"""TEXT values, 3.3.11."""


@dataclass(frozen=True, slots=True)
class Event:
    """A whole day, or with an aware instant an appointment of so many minutes. `key` tells it from all others."""

    key: str
    when: date | datetime
    title: str
    words: str = ""
    minutes: int = 30


def calendar_file(events: Iterable[Event], *, made_at: datetime, product: str) -> bytes:
    """`made_at` is aware; `product` names who wrote the file."""
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:-//{_text(product)}//EN", "CALSCALE:GREGORIAN"]
    for event in events:
        lines += ["BEGIN:VEVENT", f"UID:{event.key}", f"DTSTAMP:{_instant(made_at)}", *_times(event)]
        lines.append(f"SUMMARY:{_text(event.title)}")
        if event.words:
            lines.append(f"DESCRIPTION:{_text(event.words)}")
        # A note for the day does not make anybody busy.
        lines += ["TRANSP:OPAQUE" if isinstance(event.when, datetime) else "TRANSP:TRANSPARENT", "END:VEVENT"]
    lines.append("END:VCALENDAR")
    return b"".join(_folded(line) + b"\r\n" for line in lines)


def _times(event: Event) -> list[str]:
    """A day's end is the day after it: DTEND is not part of the event (3.6.1)."""
    if isinstance(event.when, datetime):
        end = event.when + timedelta(minutes=event.minutes)
        return [f"DTSTART:{_instant(event.when)}", f"DTEND:{_instant(end)}"]
    return [
        f"DTSTART;VALUE=DATE:{event.when:%Y%m%d}",
        f"DTEND;VALUE=DATE:{event.when + timedelta(days=1):%Y%m%d}",
    ]


def _instant(at: datetime) -> str:
    return f"{at.astimezone(UTC):%Y%m%dT%H%M%SZ}"


def _text(words: str) -> str:
    return words.translate(_ESCAPES)


def _folded(line: str) -> bytes:
    """A line goes on after CRLF and a blank, which counts among the octets of the next one."""
    parts, part = [], b""
    for character in line:
        octets = character.encode()
        if len(part) + len(octets) > LONGEST:
            parts.append(part)
            part = b" "
        part += octets
    return b"\r\n".join([*parts, part])
