"""The flags for programs."""

from datetime import date, datetime
from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import BaseModel, ConfigDict, Field

from app import web
from app.people.permissions import need
from app.people.sessions import Called
from app.watch import queries
from app.watch.queries import Raised

router = APIRouter(prefix="/api/v1", tags=["flags"], responses=web.problems(401, 403, 422))


class FlagOut(BaseModel):
    kind: str
    code: str | None = Field(
        description="The pair's code; null for an arrival that belongs to nobody yet, and for a lot."
    )
    arrival: int | None
    lot: int | None = Field(description="The lot that it is about; then there is no pair.")
    label: str
    clinic: str
    what: str
    why: str
    since: datetime = Field(description="When it began; a flag with another since is another flag.")
    do: str = Field(description="What to do about it.")
    limit: str = Field(description="The lab's setting by which it was raised, in words.")
    put_off_until: date | None
    acknowledged: bool


class FlagsOut(BaseModel):
    items: list[FlagOut]

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "items": [
                        {
                            "kind": "review_overdue",
                            "code": "26-00417-D",
                            "arrival": None,
                            "lot": None,
                            "label": "MR 2210",
                            "clinic": "Harbour Steps",
                            "what": "The review is overdue.",
                            "why": "It was due on Thu 12 Nov, 4 days ago.",
                            "since": "2026-11-12T00:00:00Z",
                            "do": "Hold the review, or book it; after recorded attempts the pair can be closed "
                            "without one.",
                            "limit": "3 days after the day of the review",
                            "put_off_until": None,
                            "acknowledged": False,
                        }
                    ]
                }
            ]
        }
    )


@router.get("/flags", summary="What the rules have noticed")
def list_flags(
    ask: Called,
    kind: Annotated[str | None, Query(description="One kind alone.", max_length=40)] = None,
    answered: Annotated[bool, Query(description="Those acknowledged or put off, too.")] = False,
) -> FlagsOut:
    """The most urgent kind first, in it the oldest; a clinician gets the own clinics'."""
    with ask.reading() as (viewer, db):
        need(viewer, "see_flags")
        found = queries.for_viewer(db, viewer)
    wanted = [each for each in found if (answered or each.said is None) and kind in (None, each.flag.kind)]
    return FlagsOut(items=[_out(each) for each in wanted])


def _out(each: Raised) -> FlagOut:
    flag, said = each.flag, each.said
    return FlagOut(
        kind=flag.kind,
        code=flag.pair or None,
        arrival=flag.arrival,
        lot=flag.lot,
        label=each.subject.label,
        clinic=each.subject.clinic,
        what=flag.what,
        why=flag.why,
        since=flag.since,
        do=flag.do,
        limit=flag.limit,
        put_off_until=said.until if said else None,
        acknowledged=said is not None and said.until is None,
    )
