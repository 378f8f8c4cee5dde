"""How many are how old, as columns, youngest first, with the part that is late told apart."""

from collections.abc import Sequence
from typing import NamedTuple

from app.turnaround.rules.charts import drawing as d
from app.turnaround.rules.charts.drawing import LINE, SIZE, Bar, Chart, Row, Text
from app.turnaround.rules.charts.plane import HEIGHT, Plane, captions, column_links, up, upright
from app.turnaround.rules.charts.ticks import COUNT


class Age(NamedTuple):
    """How many are so old, and how many of them are `late`, or whatever the chart says is hatched."""

    label: str
    size: int
    late: int = 0
    href: str = ""


def by_age(ages: Sequence[Age], *, title: str, things: str = "pairs", late: str = "", below: str = "") -> Chart:
    """A column for each age, its part that is `late` hatched from the ground up.

    `late` says what that part is, such as "past their promised day"; `below` says which age, such as "days open".
    """
    marks = COUNT.ticks(0, max((each.size for each in ages), default=0) or 1, 4)
    plane = upright(marks, COUNT, right=4)
    grid, words = up(plane, marks, COUNT)
    bars = [bar for index, each in enumerate(ages) for bar in _columns(each, index, len(ages), plane)]
    labels = [text for index, each in enumerate(ages) for text in _texts(each, index, len(ages), plane)]
    swatch, named = _key(plane, late) if late else ([], [])
    return Chart(
        title=title,
        alt=_told(ages, things, late),
        height=HEIGHT,
        grid=tuple(grid),
        bars=(*bars, *swatch),
        texts=(*words, *labels, *named, *captions(plane, things, below, named[-1].box[2] + 12 if named else 0)),
        links=tuple(column_links(plane, [(each.href, _said(each, things, late)) for each in ages])),
        heads=("Age", things.capitalize(), *([late.capitalize()] if late else [])),
        rows=tuple(
            Row((each.label, f"{each.size:,}", *([f"{each.late:,}"] if late else [])), each.href) for each in ages
        ),
    )


def _columns(age: Age, index: int, of: int, plane: Plane) -> list[Bar]:
    thick = min(plane.column_width(of) * 0.72, 90)
    left, top, middle = plane.column(index, of) - thick / 2, plane.y(age.size), plane.y(age.late)
    parts = ((top, middle, "plain"), (middle, plane.bottom, "hatched"))
    return [Bar(left, begins, thick, ends - begins, look) for begins, ends, look in parts if ends > begins]


def _texts(age: Age, index: int, of: int, plane: Plane) -> list[Text]:
    x = plane.column(index, of)
    label, full = d.cut(age.label, plane.column_width(of) - 6)
    return [
        Text(x, plane.bottom + 19, label, "middle", "ink", full),
        Text(x, plane.y(age.size) - 5, f"{age.size:,}", "middle", "strong"),
    ]


def _key(plane: Plane, late: str) -> tuple[list[Bar], list[Text]]:
    y = plane.bottom + 20 + 2 * LINE
    words, full = d.cut(late, (plane.right - plane.left) / 2)
    swatch = Bar(plane.left, y - 0.8 * SIZE, 18, 11, "hatched")
    return [swatch], [Text(plane.left + 26, y, words, "start", "soft", full)]


def _said(age: Age, things: str, late: str) -> str:
    return f"{age.label}: {age.size:,} {things}" + (f", {age.late:,} {late}" if late else "")


def _told(ages: Sequence[Age], things: str, late: str) -> str:
    total = sum(each.size for each in ages)
    if not total:
        return f"No {things}."
    most = max(ages, key=lambda each: each.size)
    oldest = [each for each in ages if each.size][-1]
    told = f"{total:,} {things}: most in {most.label} ({most.size:,}), the oldest in {oldest.label} ({oldest.size:,})"
    return f"{told}; {sum(each.late for each in ages):,} are {late}." if late else f"{told}."
