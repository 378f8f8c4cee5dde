"""The figures of the page in words and drawings."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from typing import Any, NamedTuple

import numpy as np

from app.bench.rules.acts import WAITING_ON
from app.bench.rules.stages import STAGES
from app.trade.worktime import words
from app.turnaround.queries import Figures
from app.turnaround.rules import charts
from app.turnaround.rules.asked import Asked, row_words
from app.turnaround.rules.charts import COUNT, Age, Chart, Curve, Layer, Measured, Sampled
from app.turnaround.rules.columns import WAY
from app.turnaround.rules.past import Part
from app.turnaround.rules.times import FEWEST, Times, benches, is_bench
from app.turnaround.rules.weeks import FEWEST_WEEKS, Weeks, flow, weeks

DAY = 24 * 60
PAIRS = "/turnaround/pairs"
NO_BREAK = "\u00a0"


class Row(NamedTuple):
    """A line of the table of stages."""

    name: str
    href: str
    clock: str
    here: int
    median: str
    ninetieth: str
    off: str
    """How far the figures of what is over alone are off."""
    ended: int
    open: int
    current: bool


def values(figures: Figures, today: date) -> dict[str, Any]:
    asked = figures.looked.asked
    day = figures.counted.hours.standard_day_minutes()
    way = figures.of(WAY)
    return {
        "rows": [_row(figures, times, asked, day) for times in figures.rows],
        "met": figures.kept,
        "promised": figures.promised,
        "overdue": figures.overdue,
        "open_pairs": figures.open_pairs,
        "parked": figures.parked,
        "way": _said(way, DAY),
        "day_hours": f"1{NO_BREAK}d{NO_BREAK}={NO_BREAK}{day / 60:g}{NO_BREAK}h",
        "fewest": FEWEST,
        "close": _close(figures, figures.of(asked.row), day),
        "flow": _flow(figures, today),
    }


def unit_of(row: str, day: int) -> int:
    """How many minutes a day has there."""
    return day if is_bench(row) else DAY


def _row(figures: Figures, times: Times, asked: Asked, day: int) -> Row:
    said = _said(times, unit_of(times.row, day))
    here = figures.looked.here(times.row)
    return Row(
        row_words(times.row),
        asked.address(stage=None if times.row == WAY else times.row) + "#close",
        "" if is_bench(times.row) else "by the clock",
        len(np.unique(figures.looked.standing.pair[here])),
        said["median"],
        said["ninetieth"],
        said["off"],
        times.ended,
        times.lasting,
        times.row == asked.row,
    )


def _said(times: Times, day: int) -> dict[str, Any]:
    """The percentiles in words, beside them those of what is over alone and by how much they are off."""
    found = dict(zip(("median", "seventy_fifth", "ninetieth"), times.figures, strict=True))
    said: dict[str, Any] = {name: _time(value, day, times) for name, value in found.items()}
    naive = dict(zip(found, times.naive or (None, None, None), strict=True))
    said["naive"] = {name: "—" if value is None else words(round(value), day) for name, value in naive.items()}
    said["off_by"] = {name: _off(naive[name], found[name], day) for name in found}
    said["off"] = said["off_by"]["ninetieth"]
    said["ended"], said["lasting"], said["here"] = times.ended, times.lasting, times.here
    return said


def _time(value: float | None, day: int, times: Times) -> str:
    if times.curve is None:
        return "too few"
    return _known(value, day)


def _off(naive: float | None, honest: float | None, day: int) -> str:
    if naive is None:
        return "—"
    if honest is None:
        return "too short; by how much is not known yet"
    gap = round(honest) - round(naive)
    share = abs(gap) / honest if honest else 0
    if share < 0.005:
        return "by nothing"
    return f"{words(abs(gap), day)} too {'short' if gap > 0 else 'long'} ({100 * share:.0f}{NO_BREAK}%)"


def _close(figures: Figures, times: Times, day: int) -> dict[str, Any]:
    """One row looked at closely."""
    row, asked = times.row, figures.looked.asked
    minutes = unit_of(row, day)
    unit = charts.minutes(minutes)
    which = "working time" if is_bench(row) else "time by the clock"
    things = "pairs" if row == WAY else "sides"
    found = weeks(figures.looked, row, figures.now, figures.counted.hours.zone)
    kept = _kept(found, asked) if row == WAY else None
    shown = [Curve(row_words(row), times.curve)] if times.curve else []
    return {
        "name": row_words(row),
        "queue": f"/queue/{row}" if row in STAGES else "",
        "which": which,
        "things": things,
        "said": _said(times, minutes),
        "bands": _bands(times, minutes) if asked.bands else [],
        "with_bands": replace(asked, bands=True).address() + "#close",
        "curve": charts.still_there(shown, title="How long it takes", unit=unit, below=which, things=things)
        if shown
        else None,
        "parts": list(_parts(figures.looked.part(benches() if row == WAY else (row,)), day if row == WAY else minutes)),
        "ages": _ages(figures, row, minutes),
        "weeks": _weeks(found, asked, things),
        "outside": list(found.outside()),
        "kept": kept,
        "outside_kept": list(found.outside_kept()) if kept else [],
        "weeks_counted": len(found.mondays),
        "fewest_weeks": FEWEST_WEEKS,
    }


def _bands(times: Times, day: int) -> list[tuple[str, str, str]]:
    names = ("Median", "75th percentile", "90th percentile")
    return [(name, _known(low, day), _known(high, day)) for name, (low, high) in zip(names, times.bands(), strict=True)]


def _known(value: float | None, day: int) -> str:
    return "not known yet" if value is None else words(round(value), day)


def _parts(part: Part, day: int) -> Iterator[tuple[str, str, str]]:
    """Name, time and share of where the time went, as far as it was recorded."""
    if part.recorded and part.recorded_all:
        share = part.worked / part.recorded_all
        yield (
            f"Worked on, of {part.recorded:,} stays in which a start was recorded",
            words(round(part.worked / part.recorded), day) + " each",
            _percent(share),
        )
    for whom, minutes in zip(WAITING_ON, part.parked, strict=True):
        if minutes:
            yield f"Parked, waiting on the {whom}", words(minutes, day), _percent(minutes / part.all)
    if part.all:
        rest = part.all - sum(part.parked)
        yield f"All else of {part.stays:,} stays that are over", words(rest, day), _percent(rest / part.all)


def _percent(share: float) -> str:
    return f"{100 * share:.1f}{NO_BREAK}%" if share < 0.1 else f"{100 * share:.0f}{NO_BREAK}%"


def _ages(figures: Figures, row: str, minutes: int) -> Chart | None:
    """Open pairs by how long they are there, whenever they came; each column leads to its pairs."""
    found = figures.looked.ages(row, minutes)
    if not any(each.pairs for each in found):
        return None
    ages = []
    for begins, ends, pairs, late in found:
        label = f"{begins}–{ends} d" if ends else f"over {begins} d"
        href = figures.looked.asked.address(PAIRS, age=f"{begins}-{ends or ''}") if pairs else ""
        ages.append(Age(label, pairs, late, href))
    below = "working days there so far" if is_bench(row) else "days so far"
    return charts.by_age(ages, title="Open pairs by age", late="past their promised day", below=below)


def _weeks(found: Weeks, asked: Asked, things: str) -> Chart | None:
    if found.limits is None:
        return None
    measured = [
        Measured(_week(day), count, count, asked.address(PAIRS, week=day.isoformat()))
        for day, count in zip(found.mondays, found.counts, strict=True)
    ]
    title = "Pairs that came to To dispense, by week" if asked.row == WAY else "What left it, by week"
    return charts.values(measured, found.limits, title=title, unit=COUNT, things=things, above=f"{things} a week")


def _kept(found: Weeks, asked: Asked) -> Chart | None:
    """The share that came by the promised day; a point leads to those that came later."""
    if found.limits is None or not any(size for _, size in found.kept):
        return None
    sampled = [
        Sampled(_week(day), hits, size, asked.address(PAIRS, week=day.isoformat(), late="yes") if hits < size else "")
        for day, (hits, size) in zip(found.mondays, found.kept, strict=True)
    ]
    return charts.shares(sampled, title="Promised days kept, by week", above="share of the pairs that came")


def _week(monday: date) -> str:
    return f"{monday.day}{NO_BREAK}{monday:%b}"


def _flow(figures: Figures, today: date) -> Chart | None:
    found = flow(figures.looked, figures.now, today, figures.counted.hours.zone)
    if len(found.days) < 2 or not any(any(counts) for _, counts in found.layers):
        return None
    layers = [Layer(name, counts) for name, counts in found.layers]
    return charts.flow(found.days, layers, title="What stood where, week by week", things="sides")
