"""Where time goes, for managers: each stage's usual and long stays, and the share of promises kept."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app import clock
from app.bench import queries as bench
from app.bench.rules.stages import STAGES
from app.people import queries as people
from app.people.permissions import need
from app.people.sessions import Signed
from app.templating import page
from app.trade.worktime import words
from app.turnaround import queries
from app.turnaround.rules import PERIODS, first_month

router = APIRouter(include_in_schema=False)
DAY = 24 * 60


@router.get("/turnaround")
def turnaround(request: Request, ask: Signed, months: int = 3) -> Response:
    months = months if months in PERIODS else 3
    with ask.reading() as (viewer, db):
        need(viewer, "see_turnaround")
        lab, calendar, now = people.lab(db), people.work_calendar(db), clock.now()
        since = first_month(clock.today(lab.zone), months)
        times = {row.stage: row for row in queries.stage_times(db, since)}
        counts = bench.counts(db, clinics=None)
        met, asked = queries.on_time(db, since)
    day = calendar.standard_day_minutes()
    rows = []
    for key, stage in STAGES.items():
        time, count = times.get(key), counts.get(key)
        if time is None and count is None:
            continue
        length = day if stage.bench else DAY
        waited = 0
        if count:
            by_clock = int((now - count.oldest).total_seconds() // 60)
            waited = calendar.minutes_between(count.oldest, now) if stage.bench else by_clock
        rows.append(
            {
                "queue": stage.queue,
                "href": f"/queue/{key}",
                "open": count.pairs if count else 0,
                "oldest": words(waited, length) if count else "—",
                "median": words(round(time.median), length) if time else "—",
                "ninetieth": words(round(time.ninetieth), length) if time else "—",
                "count": time.stays if time else 0,
                "clock": "" if stage.bench else "by the clock",
            }
        )
    return page(
        request,
        "turnaround/turnaround.html",
        viewer=viewer,
        demo=lab.demo,
        rows=rows,
        months=months,
        periods=list(PERIODS.items()),
        met=met,
        asked=asked,
        day_hours=f"1\u00a0d\u00a0=\u00a0{day / 60:g}\u00a0h",
        open_pairs=sum(count.pairs for count in counts.values()),
        parked=sum(count.parked for count in counts.values()),
    )
