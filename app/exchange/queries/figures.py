"""The tables of turnaround that a workbook holds: all that its pages show, every way of looking at it at once."""

from sqlmodel import Session

from app import clock
from app.bench.rules.acts import ENDS
from app.bench.rules.stages import STAGES
from app.people.rules import Viewer
from app.turnaround import queries
from app.turnaround.queries.coming_back import seen
from app.turnaround.queries.returned import listed
from app.turnaround.rules import by_month, returned, reviewed, timed
from app.turnaround.rules.asked import Asked
from app.turnaround.rules.behind import Behind, behind_words
from app.turnaround.rules.columns import WAY
from app.turnaround.rules.returns import BY, KINDS
from app.turnaround.rules.tabled import CLOCK_DAY, Column, Row, Table, count_words
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
