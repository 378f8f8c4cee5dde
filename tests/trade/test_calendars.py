"""A calendar file is read back as it was meant, and its bytes are what RFC 5545 asks for."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from icalendar import Calendar

from app.trade.calendars import Event, calendar_file

CHANGED = datetime(2027, 1, 11, 9, tzinfo=UTC)
LISBON = ZoneInfo("Europe/Lisbon")


def read(file: bytes) -> list[dict[str, object]]:
    """What a calendar program makes of each event."""
    return [{name.lower(): each.decoded(name) for name in each} for each in Calendar.from_ical(file).walk("VEVENT")]


def test_an_instant_is_the_same_moment_in_every_zone_and_a_day_is_a_day() -> None:
    summer = Event("a", "Review", datetime(2027, 7, 1, 9, 30, tzinfo=LISBON), CHANGED, minutes=30)
    day = Event("b", "Review", date(2027, 3, 28), CHANGED)
    moment, whole = read(calendar_file([summer, day]))
    assert moment["dtstart"] == datetime(2027, 7, 1, 8, 30, tzinfo=UTC)
    assert moment["dtend"] == datetime(2027, 7, 1, 9, 0, tzinfo=UTC)
    assert whole["dtstart"] == date(2027, 3, 28)
    assert "dtend" not in whole, "a day without an end is that day alone"
    text = calendar_file([summer, day]).decode()
    assert "DTSTART:20270701T083000Z\r\n" in text
    assert "DTSTART;VALUE=DATE:20270328\r\n" in text


def test_words_with_marks_of_the_format_and_of_any_alphabet_come_through() -> None:
    title = "Wear 1 h; then 2 h, \\ not more\nfeel: “ça va” " + "é" * 80
    (event,) = read(calendar_file([Event("a", title, CHANGED.date(), CHANGED, place="Steps, 2; back")]))
    assert (event["summary"], event["location"]) == (title, "Steps, 2; back")


def test_lines_end_in_cr_lf_and_hold_at_most_75_octets_cut_between_characters() -> None:
    file = calendar_file([Event("a", "é€" * 60, CHANGED.date(), CHANGED)])
    lines = file.split(b"\r\n")
    assert lines[-1] == b""
    assert b"\n" not in file.replace(b"\r\n", b"")
    assert max(map(len, lines)) <= 75
    for line in lines:
        line.decode()  # a character that was cut through would not be read
    # Unfolded by hand, as RFC 5545, 3.1 says: a line break and one blank go.
    assert b"SUMMARY:" + ("é€" * 60).encode() + b"\r\n" in file.replace(b"\r\n ", b"")


def test_a_changed_event_keeps_its_name_and_says_that_it_is_newer() -> None:
    before = Event("26-00417-D-review-1@pairs", "Review", date(2027, 3, 1), CHANGED, version=9)
    after = Event("26-00417-D-review-1@pairs", "Review", date(2027, 3, 2), CHANGED + timedelta(hours=1), version=10)
    (old,), (new,) = read(calendar_file([before])), read(calendar_file([after]))
    assert old["uid"] == new["uid"]
    assert (old["sequence"], new["sequence"]) == (9, 10)
    assert old["last-modified"] < new["last-modified"]  # type: ignore[operator]
    assert new["dtstamp"] == new["last-modified"]
    assert calendar_file([before]) == calendar_file([before]), "nothing changed, not a byte is"


def test_a_calendar_without_events_is_one_all_the_same() -> None:
    calendar = Calendar.from_ical(calendar_file([], name="Reviews"))
    assert (calendar["version"], calendar["name"], calendar.walk("VEVENT")) == ("2.0", "Reviews", [])
