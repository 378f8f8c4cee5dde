"""The times of the stages for programs."""

from collections.abc import Sequence
from typing import Annotated, Any

from fastapi import APIRouter, Query
from pydantic import BaseModel, ConfigDict, Field

from app import clock, web
from app.bench.rules.stages import STAGES
from app.people import queries as people
from app.people.permissions import need
from app.people.sessions import Called
from app.turnaround import queries
from app.turnaround.queries import Figures
from app.turnaround.rules.asked import CHOICES, Asked, dashed, read_asked
from app.turnaround.rules.columns import WAY
from app.turnaround.rules.times import Times, is_bench

router = APIRouter(prefix="/api/v1", tags=["turnaround"], responses=web.problems(401, 403, 422))
Minutes = float | None


class Band(BaseModel):
    """Between which times a percentile may lie, with 95 %; null where it is not known how long."""

    low: Minutes
    high: Minutes


class TimesOut(BaseModel):
    """Of what came in the period. Percentiles are null where fewer than five are over, or too many still open."""

    working_time: bool = Field(description="Minutes are working time; else by the clock.")
    left: int = Field(description="Came in the period and have left since: sides, or pairs of the whole way.")
    not_over: int = Field(description="Came in the period and are not over: they count with how long they have lasted.")
    median_minutes: Minutes = Field(description="After Kaplan and Meier, with what is not over.")
    seventy_fifth_minutes: Minutes
    ninetieth_minutes: Minutes
    median_band: Band
    seventy_fifth_band: Band
    ninetieth_band: Band
    naive_median_minutes: Minutes = Field(description="Of what is over alone (type 7): too short while much is open.")
    naive_seventy_fifth_minutes: Minutes
    naive_ninetieth_minutes: Minutes


class StageOut(TimesOut):
    stage: str
    queue: str
    open: int = Field(description="Pairs that stand there now, whenever they came.")
    oldest_minutes: int | None = Field(description="How long the pair waits that waits longest; null if none does.")


class PromisesOut(BaseModel):
    kept: int = Field(description="Stood at To dispense, at the clinic, on or before the promised day.")
    of: int = Field(description="Pairs that came to To dispense in the period with a promised day.")
    overdue: int = Field(description="Pairs whose promised day is over and that are not there yet: in neither figure.")


_TIMES: dict[str, Any] = {
    "working_time": True,
    "left": 812,
    "not_over": 9,
    "median_minutes": 318.0,
    "seventy_fifth_minutes": 492.0,
    "ninetieth_minutes": 705.0,
    "median_band": {"low": 305.0, "high": 331.0},
    "seventy_fifth_band": {"low": 474.0, "high": 510.0},
    "ninetieth_band": {"low": 671.0, "high": 744.0},
    "naive_median_minutes": 316.0,
    "naive_seventy_fifth_minutes": 488.5,
    "naive_ninetieth_minutes": 694.2,
}


class TurnaroundOut(BaseModel):
    months: int | None = Field(description="The preset; null where a first and a last month were asked for.")
    first_month: str
    last_month: str
    counted_anew: int | None = Field(
        description="Per cent, while times are counted anew in changed hours; until then they are of the old ones."
    )
    whole_way: TimesOut = Field(description="From the start of a visit to standing at To dispense, by the clock.")
    stages: list[StageOut]
    promises: PromisesOut

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "months": 3,
                    "first_month": "2026-09",
                    "last_month": "2026-11",
                    "counted_anew": None,
                    "whole_way": _TIMES | {"working_time": False},
                    "stages": [
                        _TIMES | {"stage": "press", "queue": "To press", "open": 5, "oldest_minutes": 410},
                    ],
                    "promises": {"kept": 371, "of": 398, "overdue": 2},
                }
            ]
        }
    )


def _one_of(name: str) -> str:
    return f"Only of this {name}: {', '.join(CHOICES[name])}."


@router.get("/turnaround", summary="How long pairs stay at each stage, and how many promises were kept")
def turnaround(
    ask: Called,
    months: Annotated[str, Query(description="The last whole months: 1, 3, 6 or 12.", examples=["3"])] = "",
    first: Annotated[str, Query(alias="from", description="The first month, as 2026-03, in place of `months`.")] = "",
    last: Annotated[str, Query(alias="to", description="The last month; left out, it is this one.")] = "",
    clinic: Annotated[str, Query(description="Only of this clinic, by its number.")] = "",
    way: Annotated[str, Query(description=_one_of("way"))] = "",
    reason: Annotated[str, Query(description=_one_of("reason"))] = "",
    shell: Annotated[str, Query(description=_one_of("shell"))] = "",
    sides: Annotated[str, Query(description="Only of pairs with so many sides: 1 or 2.")] = "",
) -> TurnaroundOut:
    """For managers. What is not over yet counts with how long it has lasted (Kaplan and Meier), because the slowest are
    among it; beside it stand the figures of what is over alone.

    A stay counts for the clinic the pair belonged to, and for the shell that was prescribed, when it ended.
    """
    typed = {"months": months, "from": first, "to": last, "clinic": clinic, "way": way, "reason": reason}
    with ask.reading() as (viewer, db):
        need(viewer, "see_turnaround")
        clinics = {row.id: row.name for row in people.clinics(db)}
        today = clock.today(people.lab(db).zone)
        asked = read_asked(typed | {"shell": shell, "sides": sides}, today, clinics)
        figures, anew = queries.figures(db, asked), people.recounted(db)
    return _out(asked, figures, anew)


def _out(asked: Asked, figures: Figures, anew: int | None) -> TurnaroundOut:
    return TurnaroundOut(
        months=asked.months,
        first_month=dashed(asked.first),
        last_month=dashed(asked.last),
        counted_anew=anew,
        whole_way=TimesOut(**_times(figures.of(WAY))),
        stages=[_stage(figures, times) for times in figures.rows if times.row != WAY],
        promises=PromisesOut(kept=figures.kept, of=figures.promised, overdue=figures.overdue),
    )


def _stage(figures: Figures, times: Times) -> StageOut:
    here, standing = figures.looked.here(times.row), figures.looked.standing
    return StageOut(
        stage=times.row,
        queue=STAGES[times.row].queue,
        open=len(set(standing.pair[here].tolist())),
        oldest_minutes=int(standing.minutes[here].max()) if len(here) else None,
        **_times(times),
    )


def _times(times: Times) -> dict[str, Any]:
    names = ("median", "seventy_fifth", "ninetieth")
    return {
        "working_time": is_bench(times.row),
        "left": times.ended,
        "not_over": times.lasting,
        **_named(names, "minutes", times.figures),
        **{f"{name}_band": Band(low=low, high=high) for name, (low, high) in zip(names, times.bands(), strict=True)},
        **_named([f"naive_{name}" for name in names], "minutes", times.naive or (None,) * len(names)),
    }


def _named(names: Sequence[str], what: str, values: Sequence[Minutes]) -> dict[str, Minutes]:
    return {f"{name}_{what}": value for name, value in zip(names, values, strict=True)}
