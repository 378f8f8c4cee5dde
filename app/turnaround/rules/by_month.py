"""A share from month to month: what is usual, which months are not, and where nothing of the kind can be said."""

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from app.trade import estimates
from app.trade.estimates import Shares, wilson
from app.turnaround.rules import charts
from app.turnaround.rules.asked import Asked, dashed, day_of
from app.turnaround.rules.charts import Chart, Sampled
from app.turnaround.rules.returned import MOVES, PAIRS
from app.turnaround.rules.returns import KINDS, Kind, Sample, month_words
from app.turnaround.rules.tabled import Column, Row, Table, count_words, percent

FEWEST_MONTHS = 6
"""Of fewer nobody can say what is usual."""
FEWEST_EXPECTED = 1
"""Of the rarer of the two, hit or not, in a month: below it a single one would stand outside of limits that are made
for shares as common as that (worked out by hand from Poisson's law: at 0.3 expected, chance alone goes beyond three
standard deviations in 4 % of all months, at 1 in 0.4 %)."""
_ASK_BAD = (
    "Chance alone hardly brings that about in a lab that goes on as usual: ask what was different, such as a new "
    "sheet, a new hand, another kind of order."
)
_ASK_GOOD = (
    "Chance alone hardly brings that about: ask what went well and can be kept, or whether less was written down."
)


class _Judged(NamedTuple):
    samples: list[Sample]
    """Those that have limits."""
    limits: Shares | None


def _judge(samples: Sequence[Sample]) -> _Judged:
    hits, size = sum(each.hits for each in samples), sum(each.size for each in samples)
    rarer = min(hits, size - hits) / size if size else 0
    enough = [each for each in samples if each.size * rarer >= FEWEST_EXPECTED]
    if len(enough) < FEWEST_MONTHS:
        return _Judged([], None)
    return _Judged(enough, estimates.shares([each.hits for each in enough], [each.size for each in enough]))


def share_table(kind: Kind, samples: Sequence[Sample], source: str = MOVES) -> Table:
    """Each month's share, with its limits where there are any."""
    judged = _judge(samples)
    place_of = {each.month: place for place, each in enumerate(judged.samples)}
    heads = (Column("Month", "month"), Column(kind.said.capitalize()), Column(f"Of {kind.base}"))
    limit_heads = (Column("Share", "share"), Column("Lower limit", "share"), Column("Upper limit", "share"))
    return Table(
        title=f"{kind.title}, by month",
        columns=(*heads, *limit_heads, Column("Finding", "text")),
        rows=tuple(_row(each, judged.limits, place_of.get(each.month)) for each in samples),
        definition=f"{kind.share_meaning} Limits of a p-chart: three standard deviations of a share of so many about "
        "the share of all these months together (Montgomery, Introduction to Statistical Quality Control; from "
        "memory). A month outside of them is worth asking about; one inside is not. A month in which less than one "
        f"is to be expected has no limits, and with fewer than {FEWEST_MONTHS} other months there are none at all.",
        count=count_words(sum(each.size for each in samples), (kind.base, kind.base)),
        source=source,
    )


def _row(sample: Sample, limits: Shares | None, place: int | None) -> Row:
    share = sample.hits / sample.size if sample.size else None
    cells = (day_of(sample.month), sample.hits, sample.size, share)
    if limits is None or place is None:
        return Row((*cells, None, None, "no limits"))
    finding = "outside" if place in limits.outside else "inside"
    return Row((*cells, float(limits.low[place]), float(limits.high[place]), finding))


def share_chart(kind: Kind, samples: Sequence[Sample], asked: Asked, what: str = "") -> Chart | None:
    """Each month leads to its pairs, if it is said `what` they are (as in Behind). None where there are no limits."""
    judged = _judge(samples)
    if judged.limits is None:
        return None
    sampled = [
        Sampled(month_words(each.month), each.hits, each.size, _behind(asked, what, each) if what else "")
        for each in judged.samples
    ]
    title, above = f"{kind.title}, by month", f"{kind.said}, of {kind.base}"
    return charts.shares(sampled, title=title, things=kind.base, above=above)


def _behind(asked: Asked, what: str, sample: Sample) -> str:
    if not sample.hits:
        return ""
    if what in KINDS:
        return asked.address(PAIRS, what=what, month=dashed(sample.month))
    return replace(asked, first=sample.month, last=sample.month, months=None).address(PAIRS, what=what)


def without_limits(kind: Kind, samples: Sequence[Sample]) -> str:
    """What can be said of the months together where none has limits; nothing where there is nothing."""
    hits, size = sum(each.hits for each in samples), sum(each.size for each in samples)
    if not size or _judge(samples).limits is not None:
        return ""
    low, high = wilson(hits, size)
    months = f"{month_words(samples[0].month)} to {month_words(samples[-1].month)}"
    return (
        f"{months}: {hits:,} of {size:,} {kind.base} {kind.said}, {percent(hits / size)}; the true share lies between "
        f"{percent(low)} and {percent(high)} with 95 %. Limits by month need {FEWEST_MONTHS} months in each of which "
        "at least one such is to be expected."
    )


def outside(kind: Kind, samples: Sequence[Sample], *, good_high: bool = False) -> list[str]:
    """What each month outside of its limits says, and what it does not."""
    found, limits = _judge(samples)
    return [] if limits is None else [_said(kind, found, limits, place, good_high) for place in limits.outside]


def _said(kind: Kind, samples: Sequence[Sample], limits: Shares, place: int, good_high: bool) -> str:
    each, share = samples[place], float(limits.share[place])
    low, high = float(limits.low[place]), float(limits.high[place])
    above = share > high
    which = f"above the upper limit of {percent(high)}" if above else f"below the lower limit of {percent(low)}"
    told = f"{month_words(each.month)}: {each.hits:,} of {each.size:,} {kind.base} {kind.said}, {percent(share)}"
    return f"{told}, {which}. {_ASK_GOOD if above is good_high else _ASK_BAD}"
