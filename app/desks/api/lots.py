"""The lots that a program can note with its acts."""

from datetime import date

from fastapi import APIRouter
from pydantic import BaseModel, Field

from app import clock, web
from app.bench import queries
from app.bench.rules.materials import KINDS
from app.people.permissions import need
from app.people.sessions import Called

router = APIRouter(prefix="/api/v1", tags=["trail"], responses=web.problems(401, 403))


class LotOut(BaseModel):
    lot: int = Field(description="What `facts.lots` of an advance names.")
    number: str = Field(description="The maker's lot number.")
    kind: str = Field(description=f"One of {', '.join(KINDS)}.")
    stage: str = Field(description="The stage with whose work it is noted.")
    name: str
    material: str | None = Field(description="The prescription's material, where it matters.")
    thickness: int | None = Field(description="Tenths of a millimetre.")
    stock: float = Field(description="What is left, in `unit`.")
    unit: str
    per_side: float = Field(description="What one side takes.")
    expires_on: date | None
    in_use: bool = Field(
        description="Whether it is the opened bag, the sheet being cut: what one tap on a queue's page notes. An act "
        "of the API notes what `facts.lots` names and nothing else."
    )


class LotsOut(BaseModel):
    items: list[LotOut]


@router.get("/lots", summary="Lots that can be noted with the work")
def list_lots(ask: Called) -> LotsOut:
    """Something is left of each, none is held and none has expired."""
    with ask.reading() as (viewer, db):
        need(viewer, "see_materials")
        today = clock.today(viewer.zone)
        lots = queries.to_pick(db)
    return LotsOut(
        items=[
            LotOut(
                lot=each.id,
                stage=KINDS[each.kind].stage,
                stock=each.stock / 100,
                per_side=each.per_side / 100,
                in_use=each.in_use_since is not None,
                **{name: getattr(each, name) for name in _AS_THEY_ARE},
            )
            for each in lots
            if each.why_not(today) is None
        ]
    )


_AS_THEY_ARE = ("number", "kind", "name", "material", "thickness", "unit", "expires_on")
