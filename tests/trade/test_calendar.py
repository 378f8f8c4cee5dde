"""A calendar file is unfolded and read again here by RFC 5545's own rules, whatever words stand in it."""

import re
from datetime import UTC, date, datetime, timedelta, timezone

from hypothesis import given
from hypothesis import strategies as st

from app.trade.calendar import LONGEST, Event, calendar_file

MADE = datetime(2027, 3, 3, 10, tzinfo=UTC)
WORDS = st.text(st.characters(exclude_categories=["Cc", "Cs"]) | st.just("\n"), max_size=200)
UNESCAPED = {"\\\\": "\\", "\\;": ";", "\\,": ",", "\\n": "\n"}


def read(file: bytes) -> list[tuple[str, str]]:
    """Names with their parameters, and values: 3.1 says how lines are unfolded, 3.3.11 how text is escaped."""
    assert file.endswith(b"\r\n")
    lines = file.replace(b"\r\n ", b"").decode().removesuffix("\r\n").split("\r\n")
    pairs = [line.partition(":")[::2] for line in lines]
    return [(name, re.sub(r"\\[\\;,n]", lambda found: UNESCAPED[found[0]], value)) for name, value in pairs]


@given(title=WORDS, words=WORDS)
def test_words_come_back_as_they_were_and_no_line_is_too_long(title: str, words: str) -> None:
    file = calendar_file([Event("a@b", date(2027, 3, 3), title, words)], made_at=MADE, product="X")
    assert all(len(line) <= LONGEST for line in file.split(b"\r\n"))
    found = dict(read(file))
    assert found["SUMMARY"] == title
    assert found.get("DESCRIPTION", "") == words


def test_a_day_is_whole_and_an_appointment_is_an_instant_of_the_world() -> None:
    lisbon_in_summer = timezone(timedelta(hours=1))
    rows = [
        Event("day@x", date(2027, 12, 31), "Whole"),
        Event("at@x", datetime(2027, 6, 2, 9, 30, tzinfo=lisbon_in_summer), "Timed", minutes=45),
    ]
    found = read(calendar_file(rows, made_at=MADE, product="X"))
    assert found[:4] == [("BEGIN", "VCALENDAR"), ("VERSION", "2.0"), ("PRODID", "-//X//EN"), ("CALSCALE", "GREGORIAN")]
    assert ("DTSTART;VALUE=DATE", "20271231") in found
    assert ("DTEND;VALUE=DATE", "20280101") in found, "the end is not part of it"
    assert ("DTSTART", "20270602T083000Z") in found
    assert ("DTEND", "20270602T091500Z") in found
    assert found.count(("DTSTAMP", "20270303T100000Z")) == 2
    assert found[-1] == ("END", "VCALENDAR")
