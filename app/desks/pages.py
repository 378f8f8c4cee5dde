"""The desk, the queues, the pair page and the order form, and the one door by which pages do acts."""

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app import clock
from app.bench import actions as bench
from app.bench import queries
from app.bench.queries import Loaded
from app.bench.rules.acts import ACTS, ENDS, PARK_REASONS, SEND_BACK_REASONS, WAITING_ON
from app.bench.rules.machine import SIDE_WORDS, Asked, State
from app.bench.rules.stages import STAGES, WAY_WORDS, WAYS
from app.capture.rules import KINDS
from app.desks import actions
from app.desks.charts import lab_trail, pair_trail
from app.desks.queries import buttons, own, queue_rows, sentence
from app.desks.rules import order_from_form
from app.errors import BadInput, NotFound, Refusal
from app.orders import queries as orders
from app.orders.rules import ITEMS, value_words
from app.people import queries as people
from app.people.permissions import may, need
from app.people.rules import Role, Viewer
from app.people.sessions import Signed
from app.templating import go, page
from app.trade import codes, worktime
from app.web import Form

router = APIRouter(include_in_schema=False)


@router.get("/")
def desk(request: Request, ask: Signed) -> Response:
    """What is next for this person: every stage with its count, then the own queues' first rows."""
    with ask.reading() as (viewer, db):
        values = _lab(db)
        counts = queries.counts(db, clinics=own(viewer))
        mine = [key for key in STAGES if key in counts and stage_is_mine(key, viewer)]
        queues = [(STAGES[key], counts[key].pairs, queue_rows(db, viewer, key, limit=5)[0]) for key in mine]
        line = lab_trail(counts, values["calendar"], clock.now())
    return page(request, "desks/desk.html", viewer=viewer, queues=queues, line=line, **values)


def stage_is_mine(stage: str, viewer: Viewer) -> bool:
    """Whether a queue's work is this person's: the bench's for technicians, the clinic's for clinicians."""
    at_clinic = stage in ("receive", "return", "dispense", "wear_in")
    return viewer.has(Role.CLINICIAN if at_clinic else Role.TECHNICIAN) or (
        stage == "trim" and viewer.has(Role.CLINICIAN)
    )


@router.get("/queue")
def queues(ask: Signed) -> Response:
    """The first queue with work for this person."""
    with ask.reading() as (viewer, db):
        counts = queries.counts(db, clinics=own(viewer))
    first = next((key for key in STAGES if key in counts and stage_is_mine(key, viewer)), "check_in")
    return go(f"/queue/{first}")


@router.get("/queue/{stage}")
def queue(request: Request, stage: str, ask: Signed, after: str | None = None) -> Response:
    if stage not in STAGES:
        raise NotFound(f"There is no queue '{stage}'.")
    with ask.reading() as (viewer, db):
        need(viewer, "see_queues")
        values = _lab(db)
        counts = queries.counts(db, clinics=own(viewer))
        rows, following = queue_rows(db, viewer, stage, after=after)
        line = lab_trail(counts, values["calendar"], clock.now(), here=stage)
    count = counts[stage].pairs if stage in counts else 0
    return page(
        request,
        "desks/queue.html",
        viewer=viewer,
        stage=STAGES[stage],
        rows=rows,
        count=count,
        line=line,
        after=after,
        following=following,
        **values,
    )


@router.get("/pair/{code}")
def pair(request: Request, code: str, ask: Signed) -> Response:
    with ask.reading() as (viewer, db):
        loaded = queries.find(db, code, viewer)
        values = _pair_values(db, viewer, loaded)
    return page(request, "desks/pair.html", viewer=viewer, **values)


@router.post("/pair/{code}/acts")
def act_on_pair(request: Request, code: str, ask: Signed, form: Form) -> Response:
    """Every act of every page. A refusal shows the pair as it is now, with the sentence and what was typed."""
    facts: dict[str, Any] = {}
    if form.get("words"):
        facts["words"] = form["words"]
    if form.get("code"):
        facts["code"] = form["code"]
    if form.get("holds"):
        facts["holds"] = [int(form["holds"])] if form["holds"].isdigit() else []
    version = form.get("version", "")
    asked = Asked(
        act=form.get("act", ""),
        from_stage=form.get("from_stage") or None,
        to_stage=form.get("to_stage") or None,
        sides=form.get("sides") or None,
        reason=form.get("reason") or None,
        waiting_on=form.get("waiting_on") or None,
        version=int(version) if version.isdigit() else None,
        facts=facts,
    )
    try:
        with ask.writing() as (viewer, db):
            moved = actions.do(db, code=code, asked=asked, by=viewer)
    except (NotFound, Refusal) as refusal:
        if refusal.status in (401, 404):
            raise
        with ask.reading() as (viewer, db):
            values = _pair_values(db, viewer, queries.find(db, code, viewer))
        fields = refusal.fields if isinstance(refusal, BadInput) else {}
        return page(
            request,
            "desks/pair.html",
            viewer=viewer,
            status=refusal.status,
            **(values | {"refused": refusal.sentence, "errors": fields, "typed": form, "failed": asked.act}),
        )
    state = moved.state
    where = f"It now stands at {STAGES[state.stage].queue}." if state.stage else f"It is {ENDS[str(state.end)]}."
    back = form.get("back", "")
    address = back if back.startswith("/queue/") and back.split("/")[-1] in STAGES else f"/pair/{state.code}"
    return go(address, f"{state.code}: {ACTS[asked.act].done}. {where}")


def _lab(db: Session) -> dict[str, Any]:
    """What every page of the desks shows of the lab itself."""
    lab = people.lab(db)
    calendar = people.work_calendar(db)
    return {"demo": lab.demo, "calendar": calendar, "day_hours": _day_words(calendar)}


def _day_words(calendar: worktime.WorkCalendar) -> str:
    minutes = calendar.standard_day_minutes()
    hours = f"{minutes / 60:g}"
    return f"1\u00a0d\u00a0=\u00a0{hours}\u00a0h"


def _pair_values(db: Session, viewer: Viewer, loaded: Loaded) -> dict[str, Any]:
    values = _lab(db)
    row, state = loaded.row, loaded.state
    moves = queries.history(db, row["id"])
    holding = orders.holding(db, row["order_id"])
    holds = queries.hold_rows(db, row["id"]) if row["parked_on"] else []
    return values | {
        "pair": row,
        "state": state,
        "clinic": people.clinic(db, row["clinic_id"]).name,
        "steps": pair_trail(loaded, queries.stays(db, row["id"]), values["calendar"], clock.now()),
        "buttons": buttons(loaded, viewer, moves, clock.now()),
        "holds": holds,
        "moves": [(sentence(move), move.words, move.at) for move in moves],
        "rows": prescription_rows(holding.body),
        "number": holding.number,
        "stage_notes": orders.words(db, list(holding.stage_notes.values())),
        "notes_at": holding.stage_notes,
        "stages": STAGES,
        "ends": ENDS,
        "park_reasons": PARK_REASONS,
        "send_back_reasons": SEND_BACK_REASONS,
        "waiting_list": [(party, f"the {party}") for party in WAITING_ON],
        "sides_list": [(sides, SIDE_WORDS[sides]) for sides in ("LR", "L", "R") if set(sides) <= set(state.all_sides)],
        "back_list": [(key, STAGES[key].queue) for key in state.route[: _furthest(state)]],
        "hold_list": [(str(hold.id), hold.words or hold.kind) for hold in holds],
        "refused": "",
        "errors": {},
        "typed": {},
        "failed": "",
    }


def _furthest(state: State) -> int:
    """How far the side that is ahead has come along the route."""
    return max((state.route.index(stage) for stage in state.sides.values()), default=0)


def prescription_rows(body: Mapping[str, Mapping[str, Any]]) -> list[tuple[str, str | None, str | None]]:
    """Item, left, right in words; an item that neither side has is left out."""
    rows = []
    for item in ITEMS.values():
        words = {side: value_words(item, body[side][item.key]) for side in ("L", "R") if item.key in body.get(side, {})}
        if words:
            rows.append((item.label, words.get("L"), words.get("R")))
    return rows


@router.get("/orders/new")
def order_form(request: Request, ask: Signed) -> Response:
    with ask.reading() as (viewer, db):
        need(viewer, "place_order")
        values = _order_values(db, viewer)
    return page(request, "desks/order.html", viewer=viewer, typed={}, errors={}, **values)


@router.post("/orders/new")
def place_order(request: Request, ask: Signed, form: Form) -> Response:
    typed = form | {key: form.all(key) for key in form if key.endswith("additions")}
    try:
        with ask.writing() as (viewer, db):
            wanted = order_from_form(typed, viewer.staff_id)
            need(viewer, "place_order", wanted.clinic_id)
            placed = bench.place(db, by=viewer, wanted=wanted)
    except BadInput as refusal:
        with ask.reading() as (viewer, db):
            values = _order_values(db, viewer)
        return page(
            request, "desks/order.html", viewer=viewer, status=422, typed=typed, errors=refusal.fields, **values
        )
    return go(f"/pair/{placed.code}", f"Ordered. The pair's code is {placed.code}: write it on the cast.")


def _order_values(db: Session, viewer: Viewer) -> dict[str, Any]:
    own_clinics = [clinic for clinic in people.clinics(db) if may(viewer, "place_order", clinic.id)]
    return _lab(db) | {
        "clinics": [(str(clinic.id), clinic.name) for clinic in own_clinics],
        "ways": [(way, WAY_WORDS[way]) for way in WAYS],
        "kinds": list(KINDS.items()),
        "items": list(ITEMS.values()),
        "today": clock.today(viewer.zone),
    }


@router.get("/find")
def find(request: Request, ask: Signed, q: str = "") -> Response:
    """A pair by its code, or the pairs of a chart label that begins like this."""
    with ask.reading() as (viewer, db):
        values = _lab(db)
        if codes.is_code_like(q):
            loaded = queries.find(db, q, viewer)
            return go(f"/pair/{loaded.state.code}")
        rows = queries.by_label(db, q, clinics=own(viewer))
    if len(rows) == 1:
        return go(f"/pair/{rows[0].code}")
    return page(request, "desks/found.html", viewer=viewer, q=q, rows=rows, stages=STAGES, ends=ENDS, **values)
