"""Forecasts: by which day a pair is there with 50, 85 and 95 %, beside what it was promised for."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import NamedTuple

from app.turnaround.rules.charts import drawing as d
from app.turnaround.rules.charts.drawing import (
    LINE,
    SIZE,
    WIDE,
    Bar,
    Chart,
    Mark,
    Path,
    Row,
    Text,
)
from app.turnaround.rules.charts.plane import Plane, across, lanes, row_height, row_links
from app.turnaround.rules.charts.ticks import day_ticks

_PARTS = ((12, "solid"), (12, "hatched"), (4, "solid"))
"""How thick and of which look the way to the 50, to the 85 and to the 95 % day is."""
_NAMES = ("50\u00a0%", "85\u00a0%", "95\u00a0%")
_TOP = 30.0


class Foreseen(NamedTuple):
    """A pair, the days by which it is there with 50, 85 and 95 %, and the day it was promised for, if it was."""

    label: str
    half: date
    likely: date
    nearly: date
    promised: date | None = None
    href: str = ""

    @property
    def days(self) -> tuple[date, date, date]:
        return self.half, self.likely, self.nearly

    @property
    def finding(self) -> str:
        if self.promised is None:
            return "nothing promised"
        if self.promised < self.half:
            return "likely late"
        return "in time" if self.in_time else "may be late"

    @property
    def in_time(self) -> bool:
        """The promise can be kept with 85 % at least, or there is none."""
        return self.promised is None or self.promised >= self.likely


def foreseen(pairs: Sequence[Foreseen], today: date, *, title: str, things: str = "pairs") -> Chart:
    """A row for each pair, in the order given: a bar from today on in three parts, and a mark at the promised day."""
    high = row_height(each.href for each in pairs)
    plane = _days_plane(pairs, today, high)
    rows = lanes(plane, pairs)
    first, last = date.fromordinal(round(plane.first)), date.fromordinal(round(plane.last))
    dates = [(plane.x(day.toordinal()), said) for day, said in day_ticks(first, last, 7)]
    strokes, marked = across(plane, dates)
    key_bars, key_marks, key_words = _key(plane)
    now = plane.x(today.toordinal())
    return Chart(
        title=title,
        alt=_told(pairs, today, things),
        height=round(plane.bottom + 2 * LINE + 24),
        grid=(*(Path(d.down(x, plane.top, plane.bottom), "grid") for x, _ in dates), _ground(plane), *strokes),
        bars=(*(bar for each, y in rows for bar in _parts(each, today, y, plane)), *key_bars),
        lines=(Path(d.down(now, plane.top, plane.bottom), "axis"),),
        marks=(*(mark for each, y in rows for mark in _promise(each, y, plane)), *key_marks),
        texts=(
            Text(now, plane.top - 8, "today", "middle", "soft"),
            *marked,
            *key_words,
            *(text for each, y in rows for text in _texts(each, y, plane)),
        ),
        links=tuple(row_links(high, ((y, each.href, _said(each)) for each, y in rows))),
        heads=("", *_NAMES, "Promised", "Finding"),
        rows=tuple(_row(each) for each in pairs),
    )


def _days_plane(pairs: Sequence[Foreseen], today: date, high: float) -> Plane:
    """From the earliest day that is drawn to a day after the last; a promise may lie before today."""
    days = [day for each in pairs for day in (*each.days, each.promised or today)]
    names = min(max(map(d.reach, (each.label for each in pairs)), default=0), 210)
    said = max((d.reach(_at_right(each)) for each in pairs), default=0)
    first, last = min([today, *days]), max([today, *days]) + timedelta(days=1)
    return Plane(names + 14, WIDE - said - 14, _TOP, _TOP + high * len(pairs), first.toordinal(), last.toordinal())


def _ground(plane: Plane) -> Path:
    return Path(d.along(plane.left, plane.right, plane.bottom), "axis")


def _parts(pair: Foreseen, today: date, y: float, plane: Plane) -> list[Bar]:
    """Each part begins where the one before ends; of a day that is past nothing is left to draw."""
    bars, begins = [], plane.x(today.toordinal())
    for day, (thick, look) in zip(pair.days, _PARTS, strict=True):
        ends = max(plane.x(day.toordinal()), begins)
        if ends > begins:
            bars.append(Bar(begins, y - thick / 2, ends - begins, thick, look))
        begins = ends
    return bars


def _promise(pair: Foreseen, y: float, plane: Plane) -> list[Mark]:
    if pair.promised is None:
        return []
    shape, look = ("diamond", "mark-key") if pair.in_time else ("triangle", "mark-late")
    return [Mark(plane.x(pair.promised.toordinal()), y, shape, look)]


def _texts(pair: Foreseen, y: float, plane: Plane) -> list[Text]:
    label, full = d.cut(pair.label, plane.left - 14)
    return [
        Text(0, y + 0.35 * SIZE, label, "start", "strong", full),
        Text(plane.right + 14, y + 0.35 * SIZE, _at_right(pair), "start", "ink" if pair.in_time else "strong"),
    ]


def _at_right(pair: Foreseen) -> str:
    return f"{_day(pair.likely)}, {pair.finding}"


def _key(plane: Plane) -> tuple[list[Bar], list[Mark], list[Text]]:
    """What the parts and marks mean in the last line, and what the days at the right are above them."""
    x, y = 0.0, plane.bottom + 18 + LINE + 8
    bars, marks = [], []
    words = [Text(plane.right + 14, plane.top - 8, f"there by ({_NAMES[1]})", "start", "soft")]
    for name, (thick, look) in zip(_NAMES, _PARTS, strict=True):
        bars.append(Bar(x, y - 0.33 * SIZE - thick / 2, 22, thick, look))
        words.append(Text(x + 28, y, f"{name} day", "start", "soft"))
        x = words[-1].box[2] + 16
    for name, shape, look in (
        ("promised, in time", "diamond", "mark-key"),
        ("promised too early", "triangle", "mark-late"),
    ):
        marks.append(Mark(x + 6, y - 0.33 * SIZE, shape, look))
        words.append(Text(x + 21, y, name, "start", "soft"))
        x = words[-1].box[2] + 16
    return bars, marks, words


def _day(day: date) -> str:
    return f"{day.day}\u00a0{day:%b}"


def _said(pair: Foreseen) -> str:
    days = ", ".join(f"{name} by {_day(day)}" for name, day in zip(_NAMES, pair.days, strict=True))
    return f"{pair.label}: {days}; {_promised(pair)}"


def _promised(pair: Foreseen) -> str:
    return f"promised for {_day(pair.promised)}, {pair.finding}" if pair.promised else pair.finding


def _told(pairs: Sequence[Foreseen], today: date, things: str) -> str:
    late = [each for each in pairs if not each.in_time]
    told = f"{len(pairs):,} {things}, forecast on {today.day} {today:%b %Y}"
    if not late:
        return f"{told}: none was promised for a day before it is there with 85 %."
    first = f"; the first is {late[0].label}: {_promised(late[0])}, there with 85 % by {_day(late[0].likely)}"
    return f"{told}: {len(late):,} promised for a day before they are there with 85 %{first}."


def _row(pair: Foreseen) -> Row:
    promised = _day(pair.promised) if pair.promised else "—"
    return Row((pair.label, *map(_day, pair.days), promised, pair.finding), pair.href)
