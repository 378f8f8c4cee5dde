"""The tables of turnaround that a workbook holds: all that its pages show, every way of looking at it at once."""

from collections.abc import Mapping, Sequence
from datetime import datetime

from sqlmodel import Session

from app import clock
from app.bench.rules.acts import ENDS
from app.bench.rules.stages import STAGES
from app.errors import BadInput, NotFound
from app.people.rules import Viewer
from app.turnaround import queries
from app.turnaround.queries import forecast
from app.turnaround.queries.behind import behind
from app.turnaround.queries.coming_back import seen
from app.turnaround.queries.forecast import PairRow
from app.turnaround.queries.returned import listed
from app.turnaround.rules import by_month, returned, reviewed, timed
from app.turnaround.rules.asked import Asked
from app.turnaround.rules.behind import Behind, behind_words
from app.turnaround.rules.columns import WAY
from app.turnaround.rules.forecast.line import place_words
from app.turnaround.rules.forecast.scored import grouped, score_table
from app.turnaround.rules.returns import BY, KINDS
from app.turnaround.rules.tabled import CLOCK_DAY, Column, Kind, Row, Table, count_words
from app.turnaround.rules.times import benches, is_bench
from app.turnaround.rules.weeks import flow, weeks


def where_time_goes(db: Session, asked: Asked) -> list[Table]:
    figures = queries.figures(db, asked)
    looked, row, hours = figures.looked, asked.row, figures.counted.hours
    bench_day = hours.standard_day_minutes()
    day, times = bench_day if is_bench(row) else CLOCK_DAY, figures.of(row)
    rows = benches() if row == WAY else (row,)
    today, left = clock.today(hours.zone), weeks(looked, row, figures.now, hours.zone)
    return [
        *timed.times_tables(figures.rows, bench_day, bands=True),
        *([timed.curve_table(times, times.curve, day)] if times.curve else []),
        timed.parts_table(looked.part(rows), row, bench_day if row == WAY else day),
        timed.ages_table(looked, row, day),
        timed.weeks_table(left, row),
        *([timed.promises_table(left)] if row == WAY else []),
        timed.flow_table(flow(looked, figures.now, today, hours.zone)),
    ]


def pairs_of_a_time(db: Session, asked: Asked, typed: Mapping[str, str]) -> Table:
    """Those behind a bar or a point of where time goes: all of them, however many."""
    errors: dict[str, str] = {}
    found = behind(db, asked, typed, errors, None)
    if errors:
        raise BadInput("This can't be listed as it was asked.", errors)
    kind: Kind = "working" if is_bench(asked.row) else "clock"
    heads = ("Pair", "Wearer", "Clinic", "Time", "Where it is now", "Waits on")
    return Table(
        title=found.title,
        columns=tuple(Column(head, kind if head == "Time" else "text") for head in heads),
        rows=tuple(
            Row((row.code, row.label, row.clinic, row.minutes, _where(row.stage, row.end), row.parked_on or ""))
            for row in found.rows
        ),
        definition="The longest first; of two sides, the longer one's time.",
        count=count_words(found.pairs, ("pair", "pairs")),
        source=timed.SOURCE,
        day_minutes=found.day,
    )


def foretold_at(db: Session) -> datetime:
    """NotFound before the first forecasts are made."""
    made = forecast.made(db)
    if made is None:
        raise NotFound("No forecasts have been made yet.")
    return made.made_at


def foretold(db: Session) -> list[Table]:
    """Every open pair's days and chance, and how the forecasts of the past year held."""
    rows, tested = forecast.listed(db, None, most=None), forecast.tested(db)
    held = grouped(tested.scores) if tested else []
    return [_late_table(rows), *(score_table(title, scores) for title, scores in held)]


def _late_table(rows: Sequence[PairRow]) -> Table:
    days = ("Promised", "There by, 50 %", "There by, 85 %", "There by, 95 %")
    return Table(
        title="Every open pair",
        columns=(
            *(Column(head, "text") for head in ("Pair", "Wearer", "Clinic", "Stands at")),
            *(Column(head, "day") for head in days),
            *(Column("Chance of its promise", "share"), Column("Costs it most", "text"), Column("for", "clock")),
        ),
        rows=tuple(
            Row(
                (
                    *(row.code, row.label, row.clinic, STAGES[row.stage].queue),
                    *(row.promised_on, row.half_on, row.likely_on, row.nearly_on),
                    None if row.chance is None else row.chance / 100,
                    *(("", None) if row.standard else (place_words(row.costs), row.costs_minutes)),
                )
            )
            for row in rows
        ),
        definition="The days by which each pair is at its clinic with 50, 85 and 95 %, the least chance of keeping a "
        "promise first. Without a stage that costs it most, the route's standard working days stand in for a forecast.",
        count=count_words(len(rows), ("open pair", "open pairs")),
        source="The lab's queues as they stood, walked on many times over with its own times of the last 90 days.",
    )


def coming_back(db: Session, asked: Asked, zone: str, clinics: dict[int, str]) -> list[Table]:
    found = seen(db, asked, zone)
    ranked = [returned.ranked_table(found.returns, act, name, clinics) for act in KINDS for name in BY]
    shares = [by_month.share_table(kind, found.returns.shares[act]) for act, kind in KINDS.items()]
    kept = by_month.share_table(reviewed.KEPT, found.kept, reviewed.REVIEWS)
    follow = reviewed.follow_table(found.follow, clinics, asked)
    return [*ranked, *shares, kept, follow, *reviewed.felt_tables(found.felt)]


def pairs_behind(
    db: Session, viewer: Viewer, asked: Asked, zone: str, behind: Behind, clinics: dict[int, str]
) -> Table:
    """All of them, however many."""
    rows, count = listed(db, viewer, asked, zone, behind, most=None)
    title, words = behind_words(behind, asked, clinics)
    heads = ("Pair", "Wearer", "Clinic", "Day", "What", "Where it is now")
    return Table(
        title=title,
        columns=tuple(Column(head, "day" if head == "Day" else "text") for head in heads),
        rows=tuple(
            Row((row.code, row.label, row.clinic, row.on, row.words, _where(row.stage, row.end))) for row in rows
        ),
        definition=words,
        count=count_words(count, ("entry", "entries")),
        source=returned.MOVES,
    )


def _where(stage: str | None, end: str | None) -> str:
    return STAGES[stage].queue if stage else ENDS.get(end or "", end or "").capitalize()
