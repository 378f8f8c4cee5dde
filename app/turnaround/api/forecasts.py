"""The forecasts for programs: when every open pair is at its clinic, and what can be promised."""

from datetime import date, datetime
from typing import Annotated, Literal

from fastapi import APIRouter, Query
from pydantic import BaseModel, ConfigDict, Field

from app import web
from app.bench.rules.stages import WAYS
from app.errors import BadInput
from app.people.permissions import need
from app.people.sessions import Called
from app.turnaround.queries import forecast
from app.turnaround.queries.forecast import PairRow
from app.turnaround.queries.promise import promise

router = APIRouter(prefix="/api/v1", tags=["turnaround"], responses=web.problems(401, 403, 422))


class ForecastOut(BaseModel):
    code: str
    clinic: str
    stage: str
    promised_on: date | None
    chance: int | None = Field(
        description="In a hundred, of being at its clinic by the promised day; null where nothing is promised, or "
        "another day since, or too little is known."
    )
    half_on: date = Field(description="By then it is there with 50 %.")
    likely_on: date = Field(description="By then with 85 %.")
    nearly_on: date = Field(description="By then with 95 %.")
    standard: bool = Field(description="Too little is known: all three are the route's standard working days.")
    costs: str = Field(description="What costs it most time from here: a stage, or held_ and whom it waits on.")
    costs_minutes: int = Field(description="On average, by the clock.")


class ForecastsOut(BaseModel):
    made_at: datetime | None = Field(description="Null before the first were made.")
    certainty: int = Field(description="How many promises in a hundred the lab wants to keep.")
    items: list[ForecastOut]
    next: str | None

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "made_at": "2026-11-26T10:15:00Z",
                    "certainty": 85,
                    "items": [
                        {
                            "code": "26-00417-D",
                            "clinic": "Harbour Steps",
                            "stage": "press",
                            "promised_on": "2026-12-04",
                            "chance": 62,
                            "half_on": "2026-12-03",
                            "likely_on": "2026-12-08",
                            "nearly_on": "2026-12-10",
                            "standard": False,
                            "costs": "cover",
                            "costs_minutes": 2110,
                        }
                    ],
                    "next": None,
                }
            ]
        }
    )


@router.get("/forecasts", summary="When every open pair is at its clinic")
def list_forecasts(
    ask: Called,
    after: Annotated[str, Query(description="The `next` of the page before.", max_length=12)] = "",
    limit: Annotated[int, Query(ge=1, le=200)] = 50,
) -> ForecastsOut:
    """For managers; the least chance of keeping a promise first. Made anew every quarter of an hour."""
    if after and not (after.isascii() and after.isdecimal()):
        raise BadInput("This cursor is not one that Pairtrail gave out.", {"after": "Start again without it."})
    with ask.reading() as (viewer, db):
        need(viewer, "see_turnaround")
        made, certainty = forecast.made(db), forecast.certainty(db)
        rows = forecast.listed(db, None, min(int(after or -1), 2**31 - 1), limit + 1)
    following = str(rows[limit - 1].rank) if len(rows) > limit else None
    return ForecastsOut(
        made_at=made.made_at if made else None,
        certainty=certainty,
        items=[_out(row) for row in rows[:limit]],
        next=following,
    )


def _out(row: PairRow) -> ForecastOut:
    return ForecastOut(**{name: getattr(row, name) for name in ForecastOut.model_fields})


class PromiseOut(BaseModel):
    day: date = Field(description="At the clinic by then, as surely as `certainty` says.")
    certainty: int = Field(description="In a hundred; the lab's setting.")
    made_at: datetime | None = Field(
        description="When the forecast was made; null where there is none, and `day` is the standard working days' own."
    )
    wanted_on: date | None
    odds: int | None = Field(description="In a hundred, of the wanted day; null without a forecast or a wish.")

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "day": "2026-12-09",
                    "certainty": 85,
                    "made_at": "2026-11-26T10:15:00Z",
                    "wanted_on": "2026-12-04",
                    "odds": 31,
                }
            ]
        }
    )


@router.get("/promise", summary="Which day can be promised for a new order")
def what_to_promise(
    ask: Called,
    clinic_id: Annotated[int, Query(ge=1, le=2**31 - 1, description="The clinic that orders.")],
    way: Annotated[str, Query(description=f"The route: {', '.join(WAYS)}.")] = "cast",
    start: Annotated[
        Literal["order", "check_in"], Query(description="check_in: what it is made from is in the lab already.")
    ] = "order",
    wanted_on: Annotated[date | None, Query(description="A wish, whose odds are told.")] = None,
) -> PromiseOut:
    """For clinicians of the clinic."""
    if way not in WAYS:
        raise BadInput("There is no such route.", {"way": f"One of {', '.join(WAYS)}; '{way[:20]}' is none of them."})
    with ask.reading() as (viewer, db):
        need(viewer, "place_order", clinic_id)
        found = promise(db, way=way, clinic_id=clinic_id, start=start, wanted_on=wanted_on)
    return PromiseOut(
        day=found.day, certainty=found.certainty, made_at=found.made_at, wanted_on=found.wanted_on, odds=found.odds
    )
