"""How long things last, as falling steps: what is open counts with how long it has lasted so far."""

from collections.abc import Sequence
from dataclasses import replace
from math import inf
from typing import NamedTuple

import numpy as np

from app.trade.estimates import Survival, quantile, quantile_band
from app.turnaround.rules.charts import drawing as d
from app.turnaround.rules.charts.drawing import Chart, Mark, Path, Row, Text
from app.turnaround.rules.charts.plane import HEIGHT, Plane, across, captions, room_at_right, up, upright
from app.turnaround.rules.charts.ticks import SHARE, Unit

MOST_BANDS = 2
"""More bands than these over one another can't be told apart."""
QUANTILES = {50: ("median", "circle"), 90: ("90th percentile", "square")}
_SAMPLE = 34
"""How long a piece of a line stands for it in a key."""
_SHARES = (0, 0.1, 0.25, 0.5, 0.75, 1)


class Curve(NamedTuple):
    label: str
    of: Survival
    href: str = ""
    """Where the table's row leads."""


class _Steps(NamedTuple):
    """A falling curve in the drawing: where it falls, how high it is from there on, and where it ends."""

    x: list[float]
    y: list[float]
    end: float


def still_there(
    curves: Sequence[Curve], *, title: str, unit: Unit, below: str, things: str = "stays", until: float | None = None
) -> Chart:
    """The share of `things` that lasts longer than each time, with its band where there are few; at most four curves.

    `below` says which time, such as "working time at the stage"; `until` cuts it, else it ends with the longest.
    """
    last = until or max(each.of.longest for each in curves) or 1.0
    plane, steps, samples, names = _laid_out(curves, last, unit)
    grid, words = up(plane, _SHARES, SHARE)
    strokes, marked = across(plane, [(plane.x(at), unit.mark(at)) for at in unit.ticks(0, last, 6) if at <= last])
    banded = curves if len(curves) <= MOST_BANDS else ()
    key, keyed = _key(plane)
    return Chart(
        title=title,
        alt=" ".join(_told(each, unit, things) for each in curves),
        height=HEIGHT,
        areas=tuple(Path(_band(each.of, plane), f"band-{index}") for index, each in enumerate(banded)),
        grid=(*grid, *strokes),
        lines=(*(Path(_path(each, plane), f"line-{index}") for index, each in enumerate(steps)), *samples),
        marks=(*_marks(curves, plane), *key),
        texts=(
            *words,
            *marked,
            *names,
            *keyed,
            *captions(plane, f"{things} still going on", below, keyed[-1].box[2] + 12),
        ),
        heads=("", "Median", "90th percentile", "Counted", "Still open"),
        rows=tuple(_row(each, unit) for each in curves),
    )


def _laid_out(curves: Sequence[Curve], last: float, unit: Unit) -> tuple[Plane, list[_Steps], list[Path], list[Text]]:
    """With the curves' names beside them, or, where one finds no room, with a key right of the field."""
    plane = replace(upright(_SHARES, SHARE), last=last)
    steps = [_steps(each.of, plane) for each in curves]
    names = _beside([_names(each, unit) for each in curves], steps, plane)
    if names is not None:
        return plane, steps, [], names
    plane = replace(plane, right=d.WIDE - room_at_right([each.label for each in curves]) - _SAMPLE)
    samples, words = _line_key(curves, plane)
    return plane, [_steps(each.of, plane) for each in curves], samples, words


def _line_key(curves: Sequence[Curve], plane: Plane) -> tuple[list[Path], list[Text]]:
    """A piece of each line with its name, the slowest on top."""
    slowest = sorted(range(len(curves)), key=lambda place: -(quantile(curves[place].of, 50) or inf))
    samples, words = [], []
    for row, place in enumerate(slowest):
        y = plane.top + (row + 0.5) * 1.3 * d.LINE
        shown, full = d.cut(curves[place].label, d.WIDE - plane.right - _SAMPLE - 20)
        samples.append(Path(d.along(plane.right + 14, plane.right + 10 + _SAMPLE, y), f"line-{place}"))
        words.append(Text(plane.right + _SAMPLE + 20, y + 0.35 * d.SIZE, shown, "start", "strong", full))
    return samples, words


def _steps(curve: Survival, plane: Plane) -> _Steps:
    """Thinned to a step a unit: a stage's curve has tens of thousands of times, a drawing hundreds of places."""
    shown = curve.minutes <= plane.last
    x = np.round(plane.left + curve.minutes[shown] / plane.last * (plane.right - plane.left))
    last_of_place = np.append(x[1:] > x[:-1], True)[: len(x)]
    y = plane.bottom - curve.survival[shown] * (plane.bottom - plane.top)
    return _Steps(x[last_of_place].tolist(), y[last_of_place].tolist(), plane.x(min(curve.longest, plane.last)))


def _path(steps: _Steps, plane: Plane) -> str:
    falls = "".join(f"H{x:.0f}V{y:.1f}" for x, y in zip(steps.x, steps.y, strict=True))
    return f"M{plane.left:.1f} {plane.top:.1f}{falls}H{steps.end:.1f}"


def _band(curve: Survival, plane: Plane) -> str:
    """Along the upper limit and back along the lower one."""
    high, low = (_steps(curve._replace(survival=limit), plane) for limit in (curve.high, curve.low))
    heights = [plane.top, *low.y]
    back = "".join(f"V{y:.1f}H{x:.0f}" for x, y in zip(reversed(low.x), reversed(heights[1:]), strict=True))
    return f"{_path(high, plane)}{back}V{plane.top:.1f}z"


def _marks(curves: Sequence[Curve], plane: Plane) -> list[Mark]:
    """On each curve its median and its 90th percentile, where they are known and in sight."""
    marks = []
    for index, each in enumerate(curves):
        for p, (_, shape) in QUANTILES.items():
            at = quantile(each.of, p)
            if at is not None and at <= plane.last:
                marks.append(Mark(plane.x(at), plane.y(1 - p / 100), shape, f"mark-{index}"))
    return marks


def _key(plane: Plane) -> tuple[list[Mark], list[Text]]:
    """What disc and square mean, in the last line."""
    marks, words, x, y = [], [], plane.left + 5, plane.bottom + 20 + 2 * d.LINE
    for name, shape in QUANTILES.values():
        marks.append(Mark(x, y - 0.33 * d.SIZE, shape, "mark-key"))
        words.append(Text(x + 10, y, name, "start", "soft"))
        x += d.reach(name) + 30
    return marks, words


def _names(curve: Curve, unit: Unit) -> tuple[str, str]:
    """What is written at a curve: its name, and its two figures."""
    half, nine = (_said(quantile(curve.of, p), unit) for p in QUANTILES)
    return d.cut(curve.label, 240)[0], f"median {half}, 90th {nine}"


def _said(minutes: float | None, unit: Unit) -> str:
    return "not known yet" if minutes is None else unit.words(minutes)


def _told(curve: Curve, unit: Unit, things: str) -> str:
    half, nine = (quantile(curve.of, p) for p in QUANTILES)
    name, counted = curve.label or "All", f"of {curve.of.count:,} {things}, {curve.of.open:,} of them still open"
    if half is None:
        return f"{name}: {counted}, fewer than half are over; the longest has lasted {unit.words(curve.of.longest)}."
    most = "how long nine in ten take is not known yet" if nine is None else f"nine in ten within {unit.words(nine)}"
    return f"{name}: {counted}, half are over within {unit.words(half)}, {most}."


def _row(curve: Curve, unit: Unit) -> Row:
    figures = []
    for p in QUANTILES:
        low, high = quantile_band(curve.of, p)
        doubt = f"{_said(low, unit)} – {_said(high, unit)}"
        figures.append(f"{_said(quantile(curve.of, p), unit)} ({doubt})")
    return Row((curve.label, *figures, f"{curve.of.count:,}", f"{curve.of.open:,}"), curve.href)


def _beside(words: Sequence[tuple[str, str]], steps: Sequence[_Steps], plane: Plane) -> list[Text] | None:
    """Each name right of its curve, where no other curve is nearer and no name in the way; None where one can't be.

    With its figures below it, or where the room is too small for them, the name alone.
    """
    placed: list[Text] = []
    for place, (name, figures) in enumerate(words):
        others = [each for index, each in enumerate(steps) if index != place]
        spots = [spot for lines in ((name, figures), (name,)) for spot in _spots(lines, steps[place], plane)]
        spot = next((spot for spot in spots if _is_free(spot, steps[place], others, placed)), None)
        if spot is None:
            return None
        placed.extend(spot)
    return placed


def _spots(lines: Sequence[str], own: _Steps, plane: Plane) -> list[list[Text]]:
    """Where a name may stand beside its curve, from near the middle of the field on, both ways.

    Rather away from the middle than with a line of the grid through its words.
    """
    spots: list[list[Text]] = []
    for percent in sorted(range(4, 97, 4), key=lambda percent: abs(percent - 56)):
        y = plane.y(percent / 100) - 4
        kinds = zip(lines, ("strong", "soft"), strict=False)
        spot = [Text(0, y + row * d.LINE, line, "start", kind) for row, (line, kind) in enumerate(kinds)]
        x = _passes(own, spot[-1].box[3])
        if x is not None:
            spot = [text._replace(x=x + 10) for text in spot]
            if max(text.box[2] for text in spot) <= plane.right and spot[-1].box[3] < plane.bottom:
                spots.append(spot)
    return sorted(spots, key=lambda spot: any(_is_struck(text, plane) for text in spot))


def _is_struck(text: Text, plane: Plane) -> bool:
    _, top, _, bottom = text.box
    return any(top < plane.y(share) < bottom for share in _SHARES)


def _is_free(spot: Sequence[Text], own: _Steps, others: Sequence[_Steps], placed: Sequence[Text]) -> bool:
    left, top = spot[0].box[:2]
    right, bottom = max(text.box[2] for text in spot), spot[-1].box[3]
    if any(d.meet((left, top, right, bottom), other.box, 4) for other in placed):
        return False
    at = _passes(own, top) or left
    spans = [(_passes(each, top), _passes(each, bottom), each.end) for each in others]
    # Another curve at these heights lies well left of the own one, or right of the words.
    return all(
        begins is None or begins > right + 4 or (end if ends is None else ends) < at - 14 for begins, ends, end in spans
    )


def _passes(steps: _Steps, y: float) -> float | None:
    """Where a curve falls to `y` or below it; None where it ends above."""
    return next((x for x, height in zip(steps.x, steps.y, strict=True) if height >= y), None)
