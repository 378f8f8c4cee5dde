"""How many pairs are there by each working day, as things are and as they would be, beside how many are promised."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import NamedTuple

from app.turnaround.rules.charts import drawing as d
from app.turnaround.rules.charts.drawing import Chart, Mark, Path, Row
from app.turnaround.rules.charts.plane import HEIGHT, across, at_right, captions, room_at_right, up, upright
from app.turnaround.rules.charts.ticks import COUNT, day_ticks

_SHAPES = ("circle", "square", "triangle", "diamond")


class Count(NamedTuple):
    """A line: how many by each of the days."""

    label: str
    pairs: Sequence[float]


def by_day(days: Sequence[date], counts: Sequence[Count], *, title: str, things: str = "pairs") -> Chart:
    """Rising lines, at most four, each with a mark of its own at its end; two days at least."""
    marks = COUNT.ticks(0, max(max(each.pairs) for each in counts) or 1)
    names = [f"{each.label} {each.pairs[-1]:,.0f}" for each in counts]
    plane = upright(marks, COUNT, right=room_at_right(names))
    plane = replace(plane, first=days[0].toordinal(), last=days[-1].toordinal())
    grid, words = up(plane, marks, COUNT)
    strokes, marked = across(plane, [(plane.x(day.toordinal()), said) for day, said in day_ticks(days[0], days[-1])])
    places = [plane.x(day.toordinal()) for day in days]
    lines = [[(x, plane.y(at)) for x, at in zip(places, each.pairs, strict=True)] for each in counts]
    leads, named = at_right(plane, [(line[-1][1], name) for line, name in zip(lines, names, strict=True)])
    return Chart(
        title=title,
        alt=_told(days, counts, things),
        height=HEIGHT,
        grid=(*grid, *strokes, *leads),
        lines=tuple(Path(d.straight(line), f"line-{index}") for index, line in enumerate(lines)),
        marks=tuple(Mark(*line[-1], _SHAPES[index], f"mark-{index}") for index, line in enumerate(lines)),
        texts=(*words, *marked, *named, *captions(plane, f"{things}, all so far", "at the right, by the last day")),
        heads=("Day", *(each.label for each in counts)),
        rows=tuple(
            Row((_day(day), *(f"{each.pairs[place]:,.1f}".removesuffix(".0") for each in counts)))
            for place, day in enumerate(days)
        ),
    )


def _told(days: Sequence[date], counts: Sequence[Count], things: str) -> str:
    ends = "; ".join(f"{each.label}: {each.pairs[-1]:,.0f} {things}" for each in counts)
    return f"From {_day(days[0])} to {_day(days[-1])}. By the last day, {ends}."


def _day(day: date) -> str:
    return f"{day:%a} {day.day} {day:%b}"
