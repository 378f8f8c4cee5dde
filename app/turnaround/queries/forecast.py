"""The forecasts as they were made last, and how earlier ones held: pages read these and work nothing out."""

from collections.abc import Collection, Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
from sqlalchemy import case, func, select
from sqlmodel import Session, col

from app.bench.queries import clinic_t, pair_t, visit_t
from app.people import queries as people
from app.turnaround.queries.snapshot import capacity, standard_days
from app.turnaround.rules.forecast.kept import Kept
from app.turnaround.rules.forecast.kept import unpacked as unpacked_lab
from app.turnaround.rules.forecast.known import WINDOW_DAYS
from app.turnaround.rules.forecast.odds import CERTAINTY
from app.turnaround.rules.forecast.tested import unpacked
from app.turnaround.rules.forecast.trusted import Curve, Foretold, Learnt
from app.turnaround.rules.forecast.walked import AT_CLINIC
from app.turnaround.tables import BackTest, BackTestWeek, ForecastMade, PairForecast

AT_RISK = 50
"""In a hundred: below it a pair is more likely late than not."""


class MadeRow(NamedTuple):
    made_at: datetime
    runs: int
    stays: int
    thin: list[str]
    learnt_from: int


made_t = ForecastMade.metadata.tables["forecast_made"]
_MADE = select(*(made_t.c[name] for name in MadeRow._fields))


def made(db: Session) -> MadeRow | None:
    """When forecasts were made last, and from what; without the lab itself, which is large."""
    row = db.execute(_MADE).first()
    return None if row is None else MadeRow(*row)


def kept(db: Session) -> Kept | None:
    """The lab as forecasts were made of it last, with today's settings."""
    packed: bytes | None = db.execute(select(made_t.c.snapshot)).scalar()
    if packed is None:
        return None
    return unpacked_lab(packed, people.work_calendar(db), capacity(db), standard_days(db))


def certainty(db: Session) -> int:
    """In a hundred: how sure a promised day has to be."""
    return int(people.limit(db, "promise_certainty") or CERTAINTY)


class PairRow(NamedTuple):
    rank: int
    code: str
    label: str
    clinic: str
    clinic_id: int
    stage: str
    rush: bool
    parked_on: str | None
    promised_on: date | None
    half_on: date
    likely_on: date
    nearly_on: date
    chance: int | None
    """In a hundred; None where nothing is promised, or another day since the forecast was made."""
    costs: str
    costs_minutes: int
    standard: bool

    @property
    def at_risk(self) -> bool:
        return self.chance is not None and self.chance < AT_RISK


forecast_t = PairForecast.metadata.tables["pair_forecast"]
_SAME_PROMISE = pair_t.c.promised_on == forecast_t.c.promised_on
_OTHERS = {
    "clinic": clinic_t.c.name,
    "promised_on": pair_t.c.promised_on,
    "chance": case((_SAME_PROMISE, forecast_t.c.chance)).label("chance"),
}
_COLUMNS = [
    _OTHERS[name] if name in _OTHERS else (forecast_t if name in forecast_t.c else pair_t).c[name]
    for name in PairRow._fields
]
# What has come or ended since the forecast was made is left out.
_ON_ITS_WAY = (pair_t.c.stage.is_not(None), pair_t.c.stage.not_in(AT_CLINIC))
_ROWS = (
    select(*_COLUMNS)
    .join(pair_t, pair_t.c.id == forecast_t.c.pair_id)
    .join(clinic_t, clinic_t.c.id == pair_t.c.clinic_id)
    .where(*_ON_ITS_WAY)
    .order_by(forecast_t.c.rank)
)


def of_pair(db: Session, pair_id: int) -> PairRow | None:
    """Only while the pair is on its way to the clinic; whoever asks sees the pair already."""
    row = db.execute(_ROWS.where(forecast_t.c.pair_id == pair_id)).first()
    return None if row is None else PairRow(*row)


def listed(db: Session, clinics: Collection[int] | None, after: int = -1, most: int | None = 50) -> list[PairRow]:
    """Open pairs beyond the rank `after`, the least chance of keeping a promise first. `clinics` narrows."""
    query = _ROWS.where(forecast_t.c.rank > after, *_of(clinics)).limit(most)
    return [PairRow(*row) for row in db.execute(query)]


def at_risk(db: Session, clinics: Collection[int] | None, most: int = 5) -> list[PairRow]:
    """Pairs that are more likely late than not, the least chance first."""
    query = _ROWS.where(_SAME_PROMISE, forecast_t.c.chance < AT_RISK, *_of(clinics)).limit(most)
    return [PairRow(*row) for row in db.execute(query)]


class Counts(NamedTuple):
    pairs: int
    promised: int
    at_risk: int
    doubtful: int
    """At risk, or less sure than a promise has to be."""
    kept: float
    """How many of the promised ones keep their day, on average."""


def counts(db: Session, clinics: Collection[int] | None) -> Counts:
    chance = case((_SAME_PROMISE, forecast_t.c.chance))

    def below(most: int) -> Any:
        return func.coalesce(func.sum(case((chance < most, 1), else_=0)), 0)

    query = (
        select(
            func.count(),
            func.count(chance),
            below(AT_RISK),
            below(certainty(db)),
            func.coalesce(func.sum(chance), 0),
        )
        .select_from(forecast_t)
        .join(pair_t, pair_t.c.id == forecast_t.c.pair_id)
        .where(*_ON_ITS_WAY, *_of(clinics))
    )
    pairs, promised, risky, doubtful, hundredths = db.execute(query).one()
    return Counts(pairs, promised, int(risky), int(doubtful), int(hundredths) / 100)


def _of(clinics: Collection[int] | None) -> tuple[Any, ...]:
    return () if clinics is None else (pair_t.c.clinic_id.in_(list(clinics)),)


def learnt(db: Session) -> Learnt:
    row = db.get(BackTest, 1)
    curves = row.learnt if row else []
    return {(place, left): Curve(np.array(levels) / 100, count) for place, left, levels, count in curves}


def tested(db: Session) -> BackTest | None:
    return db.get(BackTest, 1)


def week_to_test(db: Session, mondays: Sequence[date], again: datetime) -> date | None:
    """The first that was not tested yet, else one of which something was open when last looked at, by `again`."""
    calendar_id = people.counted(db).calendar_id
    rows = db.execute(
        select(col(BackTestWeek.monday), col(BackTestWeek.waiting), col(BackTestWeek.made_at)).where(
            col(BackTestWeek.calendar_id) == calendar_id, col(BackTestWeek.monday) >= mondays[0]
        )
    )
    done = {monday: waiting == 0 or made_at > again for monday, waiting, made_at in rows}
    missing = [monday for monday in mondays if monday not in done]
    return next(iter(missing or [monday for monday in mondays if not done[monday]]), None)


def count_weeks(db: Session) -> int:
    mine = col(BackTestWeek.calendar_id) == people.counted(db).calendar_id
    return int(db.execute(select(func.count()).select_from(BackTestWeek).where(mine)).scalar_one())


def weeks(db: Session, first: date) -> list[Foretold]:
    query = (
        select(col(BackTestWeek.monday), col(BackTestWeek.columns))
        .where(col(BackTestWeek.calendar_id) == people.counted(db).calendar_id, col(BackTestWeek.monday) >= first)
        .order_by(col(BackTestWeek.monday))
    )
    return [unpacked(monday.toordinal(), columns) for monday, columns in db.execute(query)]


def first_day(db: Session) -> date | None:
    """From when on a whole window of finished stays lies behind."""
    began: datetime | None = db.execute(select(func.min(visit_t.c.started_at))).scalar_one()
    if began is None:
        return None
    zone = ZoneInfo(people.lab(db).zone)
    return (began.astimezone(UTC) + timedelta(days=WINDOW_DAYS)).astimezone(zone).date()
