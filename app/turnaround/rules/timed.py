"""Where time goes as tables for paper and spreadsheet; the page draws the same figures its own way."""

from collections.abc import Iterable, Sequence

import numpy as np

from app.bench.rules.acts import WAITING_ON
from app.trade.estimates import Survival
from app.turnaround.rules.asked import row_words
from app.turnaround.rules.columns import WAY
from app.turnaround.rules.past import Part
from app.turnaround.rules.tabled import CLOCK_DAY, Cell, Column, Kind, Row, Table, count_words
from app.turnaround.rules.times import FEWEST, Looked, Times, is_bench
from app.turnaround.rules.weeks import Flow, Weeks

SOURCE = "The stays of each side and visit, from the moves of the pairs, which are never edited or deleted."
_BAND = "Brookmeyer and Crowley, Biometrics 1982;38(1):29–41"
_TITLES = ("The whole way and beside the benches, by the clock", "At the benches, in working time")
MOST_STEPS = 400
"""Of a curve in a table: more than these can't be told apart in its drawing either."""


def kind_of(row: str) -> Kind:
    return "working" if is_bench(row) else "clock"


def times_tables(rows: Sequence[Times], day: int, *, bands: bool) -> list[Table]:
    """The benches in working time, all else by the clock: two tables, because a column has one unit.

    `bands` says between which times each percentile lies, too.
    """
    clock, bench = ([each for each in rows if is_bench(each.row) is which] for which in (False, True))
    meaning = (
        "Median and 90th percentile with what is open: it counts as “at least so long” (product-limit estimate of "
        "Kaplan and Meier, J Am Stat Assoc 1958;53(282):457–481)"
        + ("; each with the times between which it lies with 95 % (" + _BAND + ")" if bands else "")
        + ". Of what is over alone: percentiles of type 7 (Hyndman "
        "and Fan, The American Statistician 1996;50(4):361–365), which flatter, because what lies about longest is "
        f"not among them. Of fewer than {FEWEST} that are over nothing is said."
    )
    found = []
    kinds: tuple[Kind, ...] = ("clock", "working")
    for kind, title, some in zip(kinds, _TITLES, (clock, bench), strict=True):
        table = Table(
            title=title,
            columns=_times_columns(kind, bands=bands),
            rows=tuple(_times_row(each, bands=bands) for each in some),
            definition=meaning,
            count=count_words(sum(each.ended for each in some), ("stay", "stays")) + " that are over",
            source=SOURCE,
            day_minutes=day if kind == "working" else CLOCK_DAY,
        )
        found += [table] if some else []
    return found


def _times_columns(kind: Kind, *, bands: bool) -> tuple[Column, ...]:
    ends = ("at least", "at most") if bands else ()
    figures = [Column(each, kind) for each in ("Median", *ends, "90th percentile", *ends)]
    alone = [Column(each, kind) for each in ("Median, over alone", "90th, over alone")]
    return (Column("Stage", "text"), *figures, Column("Over"), Column("Not over"), *alone)


def _times_row(times: Times, *, bands: bool) -> Row:
    median, _, ninetieth = times.figures
    median_band, _, ninetieth_band = times.bands() if bands else ((),) * 3
    naive = times.naive or (None, None, None)
    figures = (median, *median_band, ninetieth, *ninetieth_band)
    return Row((row_words(times.row), *figures, times.ended, times.lasting, naive[0], naive[2]))


def curve_table(times: Times, curve: Survival, day: int) -> Table:
    """The steps of a curve; of very many some are left out."""
    every = max(1, -(-len(curve.minutes) // MOST_STEPS))
    columns = (curve.minutes, curve.survival, curve.low, curve.high, curve.at_risk, curve.ended)
    steps = zip(*(each[::every].tolist() for each in columns), strict=True)
    return Table(
        title=f"How long it takes: {row_words(times.row)}",
        columns=(
            Column("Time", kind_of(times.row)),
            Column("Share still there", "share"),
            Column("at least", "share"),
            Column("at most", "share"),
            Column("Still there before"),
            Column("Over at that time"),
        ),
        rows=tuple(Row((t, s, low, high, int(n), int(d))) for t, s, low, high, n, d in steps),
        definition="The share that takes longer than each time, what is open counting with how long it has lasted "
        "(Kaplan and Meier 1958); between the shares in which it lies with 95 % (Greenwood’s variance on the scale of "
        "log(−log S), Kalbfleisch and Prentice, The Statistical Analysis of Failure Time Data, 1980).",
        count=f"{times.ended:,} that are over and {times.lasting:,} that are not",
        source=SOURCE,
        day_minutes=day,
    )


def weeks_table(found: Weeks, row: str) -> Table:
    limits = found.limits
    ends = (max(limits.low, 0), limits.high) if limits else (None, None)
    rows = []
    for place, (monday, count) in enumerate(zip(found.mondays, found.counts, strict=True)):
        finding = "" if limits is None else "outside" if place in limits.outside else "inside"
        rows.append(Row((monday, count, *ends, finding)))
    return Table(
        title=f"What left by week: {row_words(row)}",
        columns=(
            Column("Week from", "day"),
            Column("Left"),
            Column("Lower limit", "number"),
            Column("Upper limit", "number"),
            Column("Finding", "text"),
        ),
        rows=tuple(rows),
        definition="What left in each whole week of the period. Individuals chart: mean ± 2.660 times the mean moving "
        "range, NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.",
        count=count_words(sum(found.counts), ("pair", "pairs") if row == WAY else ("side", "sides")),
        source=SOURCE,
    )


def promises_table(found: Weeks) -> Table:
    """Of the whole way."""
    rows = [
        Row((monday, hits, size, hits / size if size else None))
        for monday, (hits, size) in zip(found.mondays, found.kept, strict=True)
    ]
    promised = sum(size for _, size in found.kept)
    return Table(
        title="Promised days kept, by week",
        columns=(Column("Week from", "day"), Column("Kept"), Column("Of pairs that came"), Column("Share", "share")),
        rows=tuple(rows),
        definition="Of the pairs that came to To dispense in each week and had a promised day: those that stood there, "
        "at the clinic, on or before it.",
        count=count_words(promised, ("pair", "pairs")) + " with a promised day",
        source=SOURCE,
    )


def flow_table(found: Flow) -> Table:
    counts = zip(*(counts for _, counts in found.layers), strict=True)
    return Table(
        title="What stood where, week by week",
        columns=(Column("Day", "day"), *(Column(name) for name, _ in found.layers)),
        rows=tuple(Row((day, *each)) for day, each in zip(found.days, counts, strict=True)),
        definition="How many sides stood at each group of stages at the beginning of each Monday, and now. Where a "
        "column grows, more comes than goes. Sides that are worn in are left out.",
        count=count_words(len(found.days), ("day", "days")),
        source=SOURCE,
    )


def ages_table(looked: Looked, row: str, day: int) -> Table:
    """Open pairs by how long they are there, whenever they came. `day`: of the row's own clock."""
    unit = "working days" if is_bench(row) else "days"
    return Table(
        title=f"Open pairs by age: {row_words(row)}",
        columns=(
            Column("There for", "count", unit),
            Column("up to", "count", unit),
            Column("Pairs"),
            Column("Past their promised day"),
        ),
        rows=tuple(Row(tuple(each)) for each in looked.ages(row, day)),
        definition="Every pair that is there now, whenever it came, by how long it is there.",
        count=count_words(len(np.unique(looked.standing.pair[looked.here(row)])), ("open pair", "open pairs")),
        source="Counted from the pairs themselves, now.",
    )


def parts_table(part: Part, row: str, day: int) -> Table:
    return Table(
        title=f"Waiting, work, standing still: {row_words(row)}",
        columns=(Column("Where the time went", "text"), Column("Time", kind_of(row)), Column("Share", "share")),
        rows=tuple(Row(cells) for cells in _parts(part)),
        definition="Of what is over. Parked: the pair stood still for a question or reason, by whom it waited on; of "
        "several at a time the first counts. Worked on: where a start was recorded, up to the next press of a button; "
        "its share is of those stays alone. All else is waiting for its turn, and work whose start nobody recorded."
        + (" Of the whole way: the time at all benches together." if row == WAY else ""),
        count=count_words(part.stays, ("stay", "stays")),
        source=SOURCE,
        day_minutes=day,
    )


def _parts(part: Part) -> Iterable[tuple[Cell, ...]]:
    if part.recorded_all:
        yield f"Worked on, of {part.recorded:,} stays with a start", part.worked, part.worked / part.recorded_all
    for whom, minutes in zip(WAITING_ON, part.parked, strict=True):
        if minutes:
            yield f"Parked, waiting on the {whom}", minutes, minutes / part.all
    if part.all:
        rest = part.all - sum(part.parked)
        yield "All else", rest, rest / part.all
