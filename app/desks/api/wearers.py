"""What a clinic measures and is told of a wearer, for programs: how somebody stands, and the notes from at home."""

from datetime import date, datetime, timedelta
from typing import Any, Literal

from fastapi import APIRouter
from pydantic import BaseModel, Field

from app import web
from app.bench import actions as bench
from app.bench import queries
from app.desks import examples
from app.desks.api.trail import DOING, Code, In, Key
from app.errors import BadInput
from app.fitting import actions
from app.fitting import queries as fitting
from app.fitting.queries import at_home, stance
from app.fitting.queries.stance import MeasureRow
from app.fitting.rules import wearer
from app.fitting.rules.stance import KINDS, figures
from app.people import queries as people
from app.people.permissions import need
from app.people.sessions import Called

router = APIRouter(prefix="/api/v1", tags=["wearers"], responses=web.problems(401, 403, 404, 422))
TENTHS = ("arch", "navicular")
"""Kinds whose fields are lengths."""
FIELDS = "; ".join(f"{key}: {', '.join(kind.fields)}" for key, kind in KINDS.items())


class MeasureOut(BaseModel):
    measure: int = Field(description="Its number, which a correction names.")
    kind: str = Field(description=f"One of {', '.join(KINDS)}.")
    side: str
    with_devices: bool
    found: dict[str, Any] = Field(
        description="As it was taken: degrees, scores, lengths in tenths of a millimetre, or a photo's points by pixel."
    )
    figures: dict[str, float] = Field(
        description="What comes of it: degrees with valgus positive, the index's total, drop_mm in millimetres."
    )
    at: datetime
    by: str
    visit: int = Field(description="The number of the pair's visit.")
    in_photo: bool = Field(description="Whether it was marked in a photo.")
    corrects: int | None
    corrected: bool = Field(description="A later one holds instead.")


class StanceOut(BaseModel):
    items: list[MeasureOut]


class StanceIn(In):
    """One kind of measure, of one foot or both, as it was taken by hand. The very same again writes nothing."""

    kind: Literal["angles", "posture", "arch", "navicular"] = Field(description=FIELDS)
    with_devices: bool = Field(default=False, description="Angles alone are taken with devices, too.")
    sides: dict[Literal["L", "R"], dict[str, float]] = Field(
        min_length=1,
        description="Side to each of the kind's fields: degrees with valgus positive, scores from -2 to 2, lengths in "
        "tenths of a millimetre.",
    )
    corrects: int | None = Field(default=None, description="The measure of this foot that is said anew.")


class MeasuredOut(BaseModel):
    measures: list[int] = Field(description="Numbers of what was written; empty if it was there already.")


@router.get("/pairs/{code}/stance", summary="How the wearer stands")
def list_stance(code: Code, ask: Called) -> StanceOut:
    """Everything that was measured with this pair, the oldest first, with its figures and what was corrected."""
    with ask.reading() as (viewer, db):
        loaded = queries.find(db, code, viewer)
        need(viewer, "measure_stance", loaded.row["clinic_id"])
        rows = stance.measures(db, loaded.row["id"])
        ask.note_reading(loaded.row["patient_id"])
    return StanceOut(items=[_measure(row) for row in rows])


def _measure(row: MeasureRow) -> MeasureOut:
    as_they_are = ("kind", "side", "with_devices", "found", "at", "by", "visit")
    return MeasureOut(
        measure=row.id,
        figures=figures(row.kind, row.side, row.found),
        in_photo=row.photo_id is not None,
        corrects=row.replaces_id,
        corrected=row.replaced,
        **{name: getattr(row, name) for name in as_they_are},
    )


@router.post(
    "/pairs/{code}/stance",
    status_code=201,
    summary="Note how the wearer stands",
    responses=DOING,
    openapi_extra=examples.named(examples.STANCES),
)
def note_stance(code: Code, body: StanceIn, ask: Called, idempotency_key: Key = None) -> MeasuredOut:
    """While the pair is dispensed or worn in. Photos are added and marked on the pair's own page."""
    with ask.writing() as (viewer, db):
        loaded = queries.find(db, code, viewer)
        need(viewer, "measure_stance", loaded.row["clinic_id"])
        said = _said(body, loaded.state.all_sides)

        def act() -> dict[str, Any]:
            made = actions.measure(
                db,
                code=code,
                kind=body.kind,
                said=said,
                by=viewer,
                with_devices=body.with_devices,
                replaces_id=body.corrects,
            )
            return {"measures": made}

        sent = {"stance_of": loaded.state.code} | body.model_dump(mode="json")
        _, answer = bench.once(db, staff_id=viewer.staff_id, key=idempotency_key, body=sent, act=act, status=201)
    return MeasuredOut(**answer)


def _said(body: StanceIn, sides: str) -> dict[str, str]:
    """As a form would say it; a side that the pair has not, or a field that the kind has not, is refused."""
    known = KINDS[body.kind].fields
    wrong = {
        f"sides.{side}.{field}"[:60]: f"'{field[:20]}' is none of {', '.join(known)}."
        for side, fields in body.sides.items()
        for field in fields
        if field not in known
    } | {f"sides.{side}": f"This pair is {sides} alone." for side in body.sides if side not in sides}
    if wrong:
        raise BadInput(" ".join(wrong.values()), wrong)
    scale = 10 if body.kind in TENTHS else 1
    return {
        f"{side}.{field}": f"{value / scale:g}"
        for side, fields in body.sides.items()
        for field, value in fields.items()
    }


class NoteOut(BaseModel):
    day: int = Field(description="1 is the day of dispensing.")
    on: date
    minutes: int | None = Field(description="How long they were worn.")
    comfort: int | None = Field(description=", ".join(f"{step} {words}" for step, words in wearer.COMFORT.items()))
    skin: str | None = Field(description="; ".join(f"{key}: {words}" for key, words in wearer.SKIN.items()))
    red_flag: bool = Field(description="Noted on this day, whatever the answer was changed to.")
    cleared_on: date | None = Field(description="When a clinician had looked at what holds the hours.")


class NotesOut(BaseModel):
    items: list[NoteOut]
    held: bool = Field(description="What was noted holds the hours until a clinician has cleared it.")


@router.get("/pairs/{code}/notes", summary="What the wearer noted at home")
def list_notes(code: Code, ask: Called) -> NotesOut:
    """The days of the plan that holds now, or held last, on which something was noted on the wearer's own page."""
    with ask.reading() as (viewer, db):
        loaded = queries.find(db, code, viewer)
        need(viewer, "see_patient", loaded.row["clinic_id"])
        plan = fitting.wearing_plan(db, loaded.row["id"])
        noted = at_home.notes(db, loaded.row["id"], plan, people.lab(db).zone) if plan else []
        ask.note_reading(loaded.row["patient_id"])
    held = wearer.stopped_by(noted) is not None or wearer.hurts(noted)
    return NotesOut(items=[_note(day, plan.from_day) for day in noted if plan], held=held)


def _note(day: wearer.Day, first: date) -> NoteOut:
    return NoteOut(
        day=day.number,
        on=first + timedelta(days=day.number - 1),
        minutes=day.minutes,
        comfort=day.comfort,
        skin=day.skin,
        red_flag=day.flagged,
        cleared_on=first + timedelta(days=day.cleared - 1) if day.cleared else None,
    )
