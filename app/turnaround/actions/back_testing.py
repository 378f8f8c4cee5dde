"""Testing forecasts: those of each Monday of the past year, made with what was known then, beside what came.

A week is a round of its own, so that it keeps nobody waiting; a week of which something is still open is looked at
again a day later. What the weeks say together stands in one row, which pages read and forecasts are put right by.
"""

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from sqlalchemy import delete
from sqlmodel import Session, col

from app import clock, outbox
from app.database import Database
from app.people import queries as people
from app.turnaround.queries import forecast
from app.turnaround.queries import snapshot as taken
from app.turnaround.rules.forecast import scored, trusted
from app.turnaround.rules.forecast.line import LINE
from app.turnaround.rules.forecast.made import SEED
from app.turnaround.rules.forecast.tested import foretell, packed
from app.turnaround.rules.forecast.trusted import Foretold, Learnt
from app.turnaround.rules.forecast.walked import arrival, ended
from app.turnaround.rules.forecast.walked import standing as stood
from app.turnaround.tables import BackTest, BackTestWeek

TOPIC = "back_test"
WEEKS = 52
LOOKED_AGAIN = timedelta(days=1)
SIX = time(6)


def look_at_weeks(db: Session) -> int:
    """Has the weeks tested that are missing or still open; does nothing itself."""
    if people.is_set_up(db) and forecast.week_to_test(db, _mondays(db), clock.now() - LOOKED_AGAIN):
        outbox.put_once(db, TOPIC)
    return 0


def back_test(database: Database) -> None:
    """One week, and word to go on where there are more; after the last one the figures of all."""
    with database.reading() as db:
        mondays = _mondays(db)
        monday = forecast.week_to_test(db, mondays, clock.now() - LOOKED_AGAIN)
        week = _foretold(db, monday) if monday else None
    with database.writing() as db:
        if week is not None and monday is not None:
            _keep(db, monday, week)
            outbox.put(db, TOPIC, {})
            return
    sum_up(database, mondays)


def sum_up(database: Database, mondays: Sequence[date]) -> None:
    with database.reading() as db:
        weeks, today = forecast.weeks(db, mondays[0]), clock.today(people.lab(db).zone).toordinal()
    rows, learnt = scored.scored(weeks, today), trusted.learn(weeks, today)
    with database.writing() as db:
        db.merge(
            BackTest(
                id=1,
                made_at=clock.now(),
                weeks=len(weeks),
                wanted=len(mondays),
                scores=_scores(rows),
                learnt=_written(learnt),
            )
        )


def _mondays(db: Session) -> list[date]:
    """Those of the past year, from the first on which anything had been ordered for so long that it could be known."""
    today = clock.today(people.lab(db).zone)
    last = today - timedelta(days=today.weekday())
    first = forecast.first_day(db)
    mondays = [last - timedelta(weeks=back) for back in range(WEEKS, 0, -1)]
    return [monday for monday in mondays if first and monday >= first] or [last]


def _foretold(db: Session, monday: date) -> Foretold:
    at = datetime.combine(monday, SIX, ZoneInfo(people.lab(db).zone))
    pairs = taken.open_at(db, at)
    stands = [(pair, place, arrival(pair, at)) for pair in pairs if (place := stood(pair, at))]
    week = foretell(taken.of(db, at, [place for _, place, _ in stands]), [came for *_, came in stands], SEED)
    # What ended on another way, withdrawn for instance, says nothing of the forecast.
    gone = [pair.pair_id for pair, _, came in stands if came is None and ended(pair)]
    kept = ~np.isin(week.pair, gone)
    return week._replace(**{name: getattr(week, name)[kept] for name in Foretold._fields if name != "made_on"})


def _keep(db: Session, monday: date, week: Foretold) -> None:
    calendar_id = people.counted(db).calendar_id
    db.execute(delete(BackTestWeek).where(col(BackTestWeek.monday) < monday - timedelta(weeks=2 * WEEKS)))
    db.merge(
        BackTestWeek(
            monday=monday,
            calendar_id=calendar_id,
            made_at=clock.now(),
            forecasts=len(week.pair),
            waiting=int((week.came == trusted.NOT_YET).sum()),
            columns=packed(week),
        )
    )


def _scores(rows: scored.Scored) -> dict[str, Any]:
    """As plain values, by what they are of."""
    return {
        "all": list(scored.overall(rows)),
        "ahead": [list(each) for each in scored.by_horizon(rows)],
        "place": [list(each) for each in scored.scores(rows, rows.place, LINE)],
        "left": [list(each) for each in scored.scores(rows, rows.left, list(map(str, range(len(LINE) + 1))))],
    }


def _written(learnt: Learnt) -> list[list[Any]]:
    return [
        [place, left, [round(100 * level) for level in curve.raw.tolist()], curve.known]
        for (place, left), curve in learnt.items()
    ]
