"""The times of the stages for programs."""

from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import BaseModel, ConfigDict, Field

from app import web
from app.bench.rules.stages import STAGES
from app.errors import BadInput
from app.people.permissions import need
from app.people.sessions import Called
from app.turnaround import queries
from app.turnaround.queries import StageNow
from app.turnaround.rules import PERIODS

router = APIRouter(prefix="/api/v1", tags=["turnaround"], responses=web.problems(401, 403, 422))


class StageOut(BaseModel):
    """One stage. Minutes are working time at bench stages and by the clock elsewhere."""

    stage: str
    queue: str
    working_time: bool
    open: int = Field(description="Pairs that stand there now.")
    oldest_minutes: int | None = Field(description="How long the pair waits that waits longest; null if none does.")
    left: int = Field(description="Sides that left the stage in the period: what the percentiles are of.")
    median_minutes: float | None
    ninetieth_minutes: float | None


class PromisesOut(BaseModel):
    kept: int = Field(description="Stood at To dispense, at the clinic, on or before the promised day.")
    of: int = Field(description="Pairs dispensed in the period that had a promised day.")


class TurnaroundOut(BaseModel):
    months: int
    stages: list[StageOut]
    promises: PromisesOut

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "months": 3,
                    "stages": [
                        {
                            "stage": "press",
                            "queue": "To press",
                            "working_time": True,
                            "open": 5,
                            "oldest_minutes": 410,
                            "left": 812,
                            "median_minutes": 318.0,
                            "ninetieth_minutes": 702.5,
                        }
                    ],
                    "promises": {"kept": 371, "of": 398},
                }
            ]
        }
    )


@router.get("/turnaround", summary="How long pairs stay at each stage, and how many promises were kept")
def turnaround(
    ask: Called, months: Annotated[int, Query(description="The last whole months: 1, 3, 6 or 12.")] = 3
) -> TurnaroundOut:
    """For managers. Percentiles are exact, type 7 (the one of numpy's default)."""
    if months not in PERIODS:
        words = f"Figures are of the last {', '.join(map(str, PERIODS))} months."
        raise BadInput(words, {"months": words})
    with ask.reading() as (viewer, db):
        need(viewer, "see_turnaround")
        figures = queries.figures(db, months)
    promises = PromisesOut(kept=figures.kept, of=figures.promised)
    return TurnaroundOut(months=months, stages=[_out(each) for each in figures.stages], promises=promises)


def _out(here: StageNow) -> StageOut:
    stage, times = STAGES[here.stage], here.times
    return StageOut(
        stage=here.stage,
        queue=stage.queue,
        working_time=stage.bench,
        open=here.open,
        oldest_minutes=here.oldest,
        left=times.stays if times else 0,
        median_minutes=times.median if times else None,
        ninetieth_minutes=times.ninetieth if times else None,
    )
