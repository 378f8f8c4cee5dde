"""What turnaround keeps beside the stays themselves: each month's worth of them as columns, read at once; the forecasts
made last, and what was foretold on each Monday of the past year.
"""

from datetime import date, datetime
from typing import Any

from sqlalchemy import JSON
from sqlmodel import Field, SQLModel


class MonthColumns(SQLModel, table=True):
    """The stays that ended in a month, as app/turnaround/rules/columns.py writes them.

    All of a calendar's months together hold every stay up to the highest `upto_move` of them; later ones are read from
    `stay` itself, so that figures are right with and without these rows.
    """

    __tablename__ = "month_columns"

    calendar_id: int = Field(foreign_key="calendar.id", primary_key=True)
    month: int = Field(primary_key=True)
    """Of leaving, as 202611."""
    layout: int
    """Which columns and codes these are; those of another version of this program are made anew."""
    upto_move: int
    """The last move that was looked at when this was written."""
    stays: int
    made_at: datetime
    columns: bytes
    """Last, because SQLite reads through what stands before a column: megabytes, to learn when they were made."""


class ForecastMade(SQLModel, table=True):
    """That forecasts were made, and from what: one row, id 1, of the last time."""

    __tablename__ = "forecast_made"

    id: int = Field(default=1, primary_key=True)
    made_at: datetime
    seed: int
    runs: int
    pairs: int
    stays: int
    """Finished stays that were drawn from."""
    thin: list[str] = Field(sa_type=JSON)
    """Places of which fewer are known than a forecast needs."""
    learnt_from: int
    """Earlier forecasts by which these were put right."""
    snapshot: bytes
    """The lab as it stood (app/turnaround/rules/forecast/kept.py)."""


class PairForecast(SQLModel, table=True):
    """When an open pair will be at its clinic, as it was foretold last."""

    __tablename__ = "pair_forecast"

    pair_id: int = Field(foreign_key="pair.id", primary_key=True)
    # "What will be late?", a page at a time: the least chance of keeping a promise first, without a promise last.
    rank: int = Field(index=True)
    half_on: date
    likely_on: date
    nearly_on: date
    """The days by which it is there with 50, 85 and 95 in a hundred."""
    promised_on: date | None = None
    """As it was then: a chance is of that day."""
    chance: int | None = None
    place: str
    """Where it stood."""
    costs: str
    costs_minutes: int
    """The place that costs it most, and its minutes by the clock on average."""
    standard: bool = False
    """By the route's standard working days, because too little is known; all three days are then the same."""


class OrderForecast(SQLModel, table=True):
    """When a new order would be at its clinic, by route and kind of clinic."""

    __tablename__ = "order_forecast"

    way: str = Field(primary_key=True)
    by_parcel: bool = Field(primary_key=True)
    trims: bool = Field(primary_key=True)
    start: str = Field(primary_key=True)
    """order; or check_in, once what it is made from is here."""
    days: list[int] = Field(sa_type=JSON)
    """A hundred days in rising order (date.toordinal), each for one in a hundred; none where too little is known."""
    missing: list[str] = Field(sa_type=JSON)
    """The places of which it is."""


class BackTestWeek(SQLModel, table=True):
    """What would have been foretold on a Monday at 6, and what came of it (app/turnaround/rules/forecast/tested.py)."""

    __tablename__ = "back_test_week"

    monday: date = Field(primary_key=True)
    calendar_id: int = Field(foreign_key="calendar.id", primary_key=True)
    made_at: datetime
    forecasts: int
    waiting: int
    """Of them, those that have not come yet: the week is looked at again until all have."""
    columns: bytes


class BackTest(SQLModel, table=True):
    """The figures of all weeks together: one row, id 1."""

    __tablename__ = "back_test"

    id: int = Field(default=1, primary_key=True)
    made_at: datetime
    weeks: int
    wanted: int
    """Of how many weeks, once all are done."""
    scores: dict[str, Any] = Field(sa_type=JSON)
    learnt: list[list[Any]] = Field(sa_type=JSON)
    """By place and stages left: the raw levels, in hundredths, that held as often as they should, and of how many."""
