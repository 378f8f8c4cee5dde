"""What a month's report says: where time goes, what came back, what became of reviews, as far as it is known now.

Figures of the whole lab alone: no wearer, no code and no chart label stands in it, so that it can go by mail.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app import clock
from app.errors import BadInput, NotFound
from app.people import queries as people
from app.trade.worktime import words as time_words
from app.turnaround import queries as turnaround
from app.turnaround.queries import Figures
from app.turnaround.queries.coming_back import Seen, clinic_names, seen
from app.turnaround.queries.followed import felt
from app.turnaround.rules import by_month, charts, returned, reviewed, timed
from app.turnaround.rules.asked import FIRST, LAST, Asked, day_of, month_of
from app.turnaround.rules.charts import COUNT, Chart, Curve, Layer, Measured, Sampled
from app.turnaround.rules.columns import WAY
from app.turnaround.rules.felt import Felt
from app.turnaround.rules.returns import BY, KINDS, MONTHS, Follow, Kind, Sample, acts, last_months
from app.turnaround.rules.tabled import CLOCK_DAY, NBSP, NONE, Table, percent
from app.turnaround.rules.weeks import flow, weeks

QUARTER = 3
"""Months of where time goes: of a single one most is not over yet when its report is due."""


class Part(NamedTuple):
    """A drawing, or a table that says more than one could, and the sentences below it."""

    chart: Chart | None = None
    table: Table | None = None
    said: Sequence[str] = ()


class Section(NamedTuple):
    title: str
    words: str
    parts: list[Part]


class Report(NamedTuple):
    lab: str
    month: str
    so_far: bool
    """The month is not over."""
    made_at: datetime
    made: str
    """The same in words."""
    figures: list[tuple[str, str, str]]
    """Name, figure, and of what."""
    sections: list[Section]
    tables: list[Table]
    """What is drawn in the sections, as figures."""


def read_month(text: str) -> int:
    """2026-03 as 202603."""
    year, _, month = text.partition("-")
    digits = year + month
    if (len(year), len(month)) == (4, 2) and digits.isascii() and digits.isdecimal():
        number = int(digits)
        if FIRST <= number <= LAST and 1 <= number % 100 <= 12:
            return number
    words = f"A month reads like 2026-03; {text[:20]!r} is not one."
    raise BadInput(words, {"month": words})


def report(db: Session, month: int) -> Report:
    """NotFound for a month that has not begun, and for one in which nothing is known to have happened."""
    lab = people.lab(db)
    now = clock.now().astimezone(ZoneInfo(lab.zone))
    this = month_of(now.date())
    if month > this:
        raise NotFound(f"{_words(month)} has not begun; reports are of months that have.")
    ends = last_months(day_of(month), MONTHS)
    times = turnaround.figures(db, Asked(ends[-QUARTER], month, None))
    found, clinics = seen(db, Asked(month, month, None), lab.zone, month), clinic_names(db)
    year = felt(db, Asked(ends[0], month, None), lab.zone)
    came = any(each.ended or each.lasting for each in times.rows)
    if not (came or found.returns.counts or found.follow):
        raise NotFound(f"Nothing is known of {_words(month)}, so there is nothing to report.")
    return Report(
        lab=lab.name,
        month=_words(month),
        so_far=month == this,
        made_at=now,
        made=f"{now.day} {now:%B %Y}, {now.hour}:{now:%M}",
        figures=list(_figures(found, times, reviewed.together(found.follow.values()))),
        sections=[
            _where_time_goes(times, _span(ends[-QUARTER], month)),
            _why_pairs_come_back(found, clinics),
            _follow_up(found, clinics),
            _felt(year, _span(ends[0], month)),
        ],
        tables=list(_tables(found, times, clinics)),
    )


def _words(month: int) -> str:
    return f"{day_of(month):%B %Y}"


def _span(first: int, last: int) -> str:
    return Asked(first, last, None).words()


def _figures(found: Seen, times: Figures, follow: Follow) -> Iterator[tuple[str, str, str]]:
    way = times.of(WAY)
    median, _, ninetieth = (NONE if each is None else time_words(round(each), CLOCK_DAY) for each in way.figures)
    yield "The whole way, median", median, f"of three months; 90th percentile {ninetieth}"
    yield "Promised days kept", _share(times.kept, times.promised), f"of {times.promised:,} in three months"
    yield "Pairs dispensed", f"{acts(found.returns.counts, 'dispense'):,}", "in this month"
    for act, kind in KINDS.items():
        per = returned.per_hundred(found.returns, act)
        hundred = NONE if per is None else f"{per:.1f}".removesuffix(".0")
        yield kind.title, f"{acts(found.returns.counts, act):,}", f"{hundred} a hundred dispensed"
    yield "Reviews kept", _share(follow.kept, follow.due - follow.gone), f"of {follow.due - follow.gone:,} due"
    yield "Overdue", f"{follow.overdue:,}", "reviews of this month, still open"


def _share(hits: int, size: int) -> str:
    return percent(hits / size) if size else NONE


def _where_time_goes(figures: Figures, span: str) -> Section:
    day = figures.counted.hours.standard_day_minutes()
    working = f"Times at benches are working time: 1{NBSP}d{NBSP}={NBSP}{day / 60:g}{NBSP}h."
    tables = [Part(table=table) for table in timed.times_tables(figures.rows, day, bands=False)]
    return Section(
        "Where time goes", f"{span}. {working}", [*_curve(figures), *tables, *_weeks(figures), *_flow(figures)]
    )


_CURVE = "The share of pairs that takes longer than each time. What is not over yet counts with how long it has lasted."
_WEEKS = (
    "A week outside of the limits is worth asking about; one inside is not. Individuals chart: mean ± 2.660 times the "
    "mean moving range, NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2."
)
_STOOD = "What stood where, week by week"
_FLOW = "How many sides stood at each group of stages on each Monday. Where a layer grows, more comes than goes."


def _curve(figures: Figures) -> Iterator[Part]:
    way = figures.of(WAY)
    if way.curve:
        shown, unit = [Curve("The whole way", way.curve)], charts.minutes(CLOCK_DAY)
        chart = charts.still_there(shown, title="The whole way", unit=unit, below="time by the clock", things="pairs")
        yield Part(chart, said=[_CURVE])


def _weeks(figures: Figures) -> Iterator[Part]:
    found = weeks(figures.looked, WAY, figures.now, figures.counted.hours.zone)
    if found.limits is None:
        return
    names = [f"{monday.day}{NBSP}{monday:%b}" for monday in found.mondays]
    came = [Measured(name, count, count) for name, count in zip(names, found.counts, strict=True)]
    title = "Pairs that came to To dispense, by week"
    chart = charts.values(came, found.limits, title=title, unit=COUNT, above="pairs a week")
    yield Part(chart, said=[_WEEKS, *found.outside()])
    if any(size for _, size in found.kept):
        kept = [Sampled(name, *of) for name, of in zip(names, found.kept, strict=True)]
        chart = charts.shares(kept, title="Promised days kept, by week", above="share of the pairs that came")
        yield Part(chart, said=list(found.outside_kept()) or ["No week is outside of its limits."])


def _flow(figures: Figures) -> Iterator[Part]:
    zone = figures.counted.hours.zone
    found = flow(figures.looked, figures.now, clock.today(zone), zone)
    if len(found.days) > 1 and any(any(counts) for _, counts in found.layers):
        layers = [Layer(name, counts) for name, counts in found.layers]
        yield Part(charts.flow(found.days, layers, title=_STOOD, things="sides"), said=[_FLOW])


def _why_pairs_come_back(found: Seen, clinics: Mapping[int, str]) -> Section:
    parts = []
    for act, kind in KINDS.items():
        ranked = returned.ranked_chart(found.returns, act, "reason", clinics, links=False)
        parts.append(Part(ranked) if ranked else Part(said=[f"{kind.title}: none in this month."]))
        parts += _by_month(kind, found.returns.shares[act], found)
    words = "Counts are of this month; shares by month are of the twelve months up to it."
    return Section("Why pairs come back", words, parts)


def _by_month(kind: Kind, samples: Sequence[Sample], found: Seen, *, good_high: bool = False) -> Iterator[Part]:
    chart, without = by_month.share_chart(kind, samples, found.returns.asked), by_month.without_limits(kind, samples)
    if chart:
        said = by_month.outside(kind, samples, good_high=good_high)
        yield Part(chart, said=said or ["No month is outside of its limits."])
    elif without:
        yield Part(said=[without])


def _follow_up(found: Seen, clinics: Mapping[int, str]) -> Section:
    parts = [Part(table=reviewed.follow_table(found.follow, clinics, found.returns.asked))] if found.follow else []
    parts += _by_month(reviewed.KEPT, found.kept, found, good_high=True)
    return Section("Follow-up", "Reviews that were due in this month; by month, of the twelve months up to it.", parts)


def _felt(year: Sequence[Felt], span: str) -> Section:
    if not year:
        return Section("Relief and comfort", f"{span}. No wearer was asked at a review.", [])
    return Section("Relief and comfort", f"{span}.", [Part(table=table) for table in reviewed.felt_tables(year)])


def _tables(found: Seen, figures: Figures, clinics: Mapping[int, str]) -> Iterator[Table]:
    """Of what was drawn, and of what came back by all that it can be looked at by."""
    hours = figures.counted.hours
    for act, kind in KINDS.items():
        if acts(found.returns.counts, act):
            yield from (returned.ranked_table(found.returns, act, name, clinics) for name in BY)
        yield by_month.share_table(kind, found.returns.shares[act])
    yield by_month.share_table(reviewed.KEPT, found.kept, reviewed.REVIEWS)
    left = weeks(figures.looked, WAY, figures.now, hours.zone)
    yield from (timed.weeks_table(left, WAY), timed.promises_table(left))
    yield timed.flow_table(flow(figures.looked, figures.now, clock.today(hours.zone), hours.zone))
