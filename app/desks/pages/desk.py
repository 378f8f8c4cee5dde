"""The desk, the queues and the search."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app import clock
from app.bench import queries
from app.bench.queries import Loaded
from app.bench.rules.acts import ACTS, ENDS, PARK_REASONS
from app.bench.rules.machine import may as may_act
from app.bench.rules.machine import when
from app.bench.rules.stages import STAGES
from app.database import Kept
from app.desks.charts import lab_trail
from app.desks.pages.common import lab_values
from app.desks.queries import own, queue_rows
from app.desks.queries.clinic import clinic_desk
from app.errors import NotFound
from app.fitting.queries import at_home
from app.orders import queries as orders
from app.paperwork.queries import SHEETS
from app.people import queries as people
from app.people.permissions import may, need
from app.people.queries import stations
from app.people.rules import Role, Viewer
from app.people.sessions import Signed
from app.templating import go, page, part
from app.trade import codes, scans
from app.turnaround import queries as turnaround
from app.turnaround.queries import forecast
from app.turnaround.rules import PERIODS, first_month
from app.watch import queries as watch

router = APIRouter(include_in_schema=False)
_figures: Kept[list[tuple[str, str, str, str]]] = Kept(most=4)
_drawn: Kept[dict[str, Any]] = Kept(most=200)
"""Queues as they were last drawn. Nothing of a person is in them; each is about 50 kB."""


@router.get("/")
def desk(request: Request, ask: Signed) -> Response:
    """What is next for this person: every stage with its count, then the own queues' first rows."""
    with ask.reading() as (viewer, db):
        values = lab_values(db)
        counts = queries.counts(db, clinics=own(viewer))
        mine = [key for key in STAGES if key in counts and stage_is_mine(key, viewer)]
        queues = [(STAGES[key], counts[key].pairs, queue_rows(db, viewer, key, limit=3)[0]) for key in mine]
        line = lab_trail(counts, values["calendar"], clock.now())
        # Flags are gathered over all open pairs: once a commit and minute is enough.
        key = clock.now().replace(second=0, microsecond=0)
        to_tell = queries.wearers_to_tell(db, viewer.clinics) if viewer.has(Role.CLINICIAN) else 0
        flagged = at_home.red_flagged(db, viewer.clinics) if viewer.has(Role.CLINICIAN) else []
        signs_on = may(viewer, "sign_on") and stations.has_stations(db)
        wearing = counts["wear_in"].pairs if "wear_in" in counts else 0
        clinic = clinic_desk(db, viewer, wearing) if viewer.has(Role.CLINICIAN) and viewer.clinics else None
        risky = at_risk(db, viewer)
        tiles = _figures.get(ask.mark, key, lambda: figures(db)) if viewer.has(Role.MANAGER) else []
    values |= {
        "queues": queues,
        "line": line,
        "tiles": tiles,
        "to_tell": to_tell,
        "signs_on": signs_on,
        "clinic": clinic,
        "risky": risky,
    }
    values |= {"stages": STAGES, "park_reasons": PARK_REASONS}
    values["flagged"] = flagged
    return ask.again(page(request, "desks/desk.html", viewer=viewer, **values))


def figures(db: Session) -> list[tuple[str, str, str, str]]:
    """What a manager looks at first: label, value, a word below, and where it leads."""
    open_pairs = queries.counts(db, clinics=None).values()
    flags = watch.counts(db, None)
    months = 3
    met, asked = turnaround.on_time(db, first_month(clock.today(people.lab(db).zone), months))
    kept = f"{round(100 * met / asked)} %" if asked else "—"
    parked = f"{sum(count.parked for count in open_pairs)} parked"
    return [
        ("Flags", str(sum(flags.values())), f"of {len(flags)} kinds", "/flags"),
        ("Open pairs", str(sum(count.open for count in open_pairs)), parked, "/queue"),
        ("Promised days kept", kept, f"{met} of {asked} in {PERIODS[months]}", "/turnaround"),
    ]


def at_risk(db: Session, viewer: Viewer) -> list[forecast.PairRow]:
    """Pairs that are more likely late than not: of the lab for a manager, of the own clinics for a clinician."""
    if may(viewer, "see_turnaround"):
        return forecast.at_risk(db, None)
    return forecast.at_risk(db, viewer.clinics) if viewer.has(Role.CLINICIAN) else []


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
        # The lab's calendar and settings are covered by the mark; the minute is, because ages and days change alone.
        minute = clock.now().replace(second=0, microsecond=0)
        key = (minute, stage, after, viewer.roles, viewer.clinics, viewer.zone)
        drawn = _drawn.get(ask.mark, key, lambda: _draw(db, viewer, stage, after))
    return ask.again(page(request, "desks/queue.html", viewer=viewer, stage=STAGES[stage], **drawn))


def _draw(db: Session, viewer: Viewer, stage: str, after: str | None) -> dict[str, Any]:
    """A queue's counts, rows and cautions as they are shown to everyone with these roles and clinics."""
    values = lab_values(db)
    waiting = queries.waiting(db, clinics=own(viewer))
    sheets = stage in SHEETS.values() and may(viewer, "work_out_sheets")
    rows, following = queue_rows(db, viewer, stage, after=after, sheets=sheets)
    listed = part(
        "desks/queue_list.html",
        stage=STAGES[stage],
        rows=rows,
        count=waiting[stage].pairs if stage in waiting else 0,
        setting=waiting[stage].setting if stage in waiting else 0,
        line=lab_trail(waiting, values["calendar"], clock.now(), here=stage),
        after=after,
        following=following,
        day_hours=values["day_hours"],
    )
    return {"listed": listed, "demo": values["demo"]}


@router.get("/find")
def find(request: Request, ask: Signed, q: str = "") -> Response:
    """A pair by its code, what a scanner read, or the pairs of a chart label that begins like this."""
    with ask.reading() as (viewer, db):
        values = lab_values(db)
        if scans.is_scan_like(q):
            return _scanned(db, viewer, q)
        if codes.is_code_like(q):
            return go(_address(queries.find(db, q, viewer), viewer))
        rows = queries.by_label(db, q, clinics=own(viewer))
    if len(rows) == 1:
        return go(f"/pair/{rows[0].code}")
    return page(request, "desks/found.html", viewer=viewer, q=q, rows=rows, stages=STAGES, ends=ENDS, **values)


def _scanned(db: Session, viewer: Viewer, text: str) -> Response:
    """Leads to what was scanned; nothing moves. A job ticket that shows another prescription than holds is told."""
    try:
        scan = scans.read(text)
    except scans.BadScan as refusal:
        raise NotFound(str(refusal)) from None
    if scan.kind == "parcel":
        return go("/parcels")
    if scan.kind == "lot":
        return go(f"/materials/lots/{scan.number}")
    if scan.kind != "ticket":
        raise NotFound("Badges and cards are read at a bench's scan station; here they do nothing.")
    loaded = queries.find(db, scan.values[0], viewer)
    holds = orders.holding(db, loaded.row["order_id"]).number
    said = f"This job ticket shows prescription {scan.number}; prescription {holds} holds. Print a new ticket."
    return go(_address(loaded, viewer), said if scan.number != holds else "")


def _address(loaded: Loaded, viewer: Viewer) -> str:
    """Where a pair's code leads: whoever has its box in hand and may check it in finds the form open."""
    state, advance = loaded.state, ACTS["advance"]
    here = state.stage == "check_in" and viewer.has(Role.TECHNICIAN)
    ready = here and may_act(state, advance, viewer.at(loaded.row["clinic_id"])) is None and not when(state, advance)
    return f"/pair/{state.code}{'?arrived=yes' if ready else ''}"
