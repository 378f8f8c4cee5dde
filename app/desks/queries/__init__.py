"""What several rooms know together of one pair, as the page and the API show it."""

from collections.abc import Mapping
from datetime import date, datetime
from functools import cache
from typing import Any, NamedTuple, cast
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app import clock
from app.bench import queries as bench
from app.bench.queries import HoldRow, Loaded, MoveRow
from app.bench.rules.acts import ACTS, TAKE_BACK_WITHIN, TAKEN_BACK, Act, owners
from app.bench.rules.machine import SIDE_WORDS, may, when
from app.bench.rules.stages import STAGES, Place, working_at
from app.capture.queries import captured_on
from app.desks.rules import MARKS_START, as_typed
from app.orders import queries as orders
from app.orders.rules import RISKS, SHOE_KINDS
from app.orders.tables import Patient
from app.paperwork.queries import press_words
from app.people import permissions
from app.people import queries as people
from app.people.rules import Role, Viewer
from app.templating import day_words
from app.trade import worktime
from app.trade.sizes import SYSTEMS
from app.trade.units import length_typed, length_words, mass_typed, mass_words


class Button(NamedTuple):
    """An act as the page offers it; `why_not` is the machine's own sentence when it can't be done."""

    act: Act
    label: str
    why_not: str | None


def own(viewer: Viewer) -> frozenset[int] | None:
    """A clinician's own clinics; None, the whole lab, for its own people."""
    return None if viewer.has(Role.TECHNICIAN, Role.MANAGER) else viewer.clinics


class Row(NamedTuple):
    """A queue's row with its words made: the template only places them."""

    code: str
    label: str
    clinic: str
    sides: str
    needs: tuple[str, ...]
    day: str
    left: str
    here: str
    tray: int | None
    parked: str
    rush: bool
    on_the_way: bool
    setting: str
    button: str
    version: int
    reason: str
    sheet: bool
    """Whether it can be ticked for a sheet of several pairs."""
    noted: bench.Noted


def queue_rows(
    db: Session, viewer: Viewer, stage: str, after: str | None = None, limit: int = 50, sheets: bool = False
) -> tuple[list[Row], str | None]:
    """A stage's pairs in the order to work, what is still setting last, in words for this person.

    `sheets`: the page has a form for a sheet of several pairs, and this person may have one.
    """
    clinics = own(viewer)
    rows, following = bench.queue(db, stage, clinics=clinics, after=after, limit=limit)
    if following is None:
        rows += bench.setting(db, stage, clinics=clinics)
    calendar, zone, at = people.work_calendar(db), ZoneInfo(viewer.zone), clock.now()
    today = clock.today(viewer.zone)
    lots = bench.lots_for(db, stage) if rows and permissions.may(viewer, "see_materials") else []
    bodies = bench.bodies_of(db, [row.id for row in rows]) if stage == "press" or bench.depends(lots) else {}
    heat = press_words(db, bodies) if stage == "press" else {}
    in_use = bench.noted(rows, lots, bodies, stage, today)
    possible = stage in ACTS["dispense" if stage == "dispense" else "advance"].at

    # A list has few days, clinics and places: what is said of one is said of all its rows.
    @cache
    def day(due_on: date) -> tuple[str, str]:
        if due_on.year == 9999:
            return "", ""
        return day_words(due_on, today), left_words(calendar.working_days_between(today, due_on))

    @cache
    def button(clinic_id: int, place: str, by_parcel: bool) -> str:
        mine = possible and viewer.at(clinic_id).has(*owner_roles(stage, place, by_parcel))
        return STAGES[stage].done if mine else ""

    made = []
    for row in rows:
        setting = row.not_before is not None and row.not_before > at
        made.append(
            Row(
                row.code,
                row.label,
                row.clinic,
                working_words(row, stage),
                (*row.needs, *heat.get(row.id, ())),
                *day(row.due_on),
                here_words(stage, row.since, at, calendar),
                row.tray,
                f"waits on the {row.parked_on}" if row.parked_on else "",
                row.rush,
                row.place == "way",
                f"{row.not_before.astimezone(zone):%H:%M}" if row.not_before and setting else "",
                button(row.clinic_id, row.place, row.by_parcel),
                row.version,
                row.reason,
                sheets,
                in_use.get(row.id, bench.NOTHING),
            )
        )
    return made, following


def here_words(stage: str, since: datetime, at: datetime, calendar: worktime.WorkCalendar) -> str:
    """How long a pair has been where it is: at a bench in working time, else by the clock."""
    if STAGES[stage].bench:
        return worktime.words(calendar.minutes_between(since, at), calendar.standard_day_minutes())
    days = (at - since).days
    return f"{days}\u00a0d" if days else worktime.words(int((at - since).total_seconds() // 60), 24 * 60)


def owner_roles(stage: str, place: str, by_parcel: bool) -> frozenset[Role]:
    act = ACTS["dispense" if stage == "dispense" else "advance"]
    return owners(act, stage, cast(Place, place), frozenset(), not by_parcel)


def working_words(row: bench.QueueRow | bench.StationRow, stage: str) -> str:
    """Names the sides only where it is not simply both: what has work here, and what the pair has at all."""
    working = working_at(stage, row.left_stage, row.right_stage)
    if working == "LR":
        return "both sides"
    one = "LEFT" if working == "L" else "RIGHT"
    return f"{one} ONLY" if len(row.all_sides) == 1 else f"{one} ONLY, the other waits"


def left_words(days: int) -> str:
    if days == 0:
        return "due today"
    many = "" if abs(days) == 1 else "s"
    return f"{days} working day{many} left" if days > 0 else f"{-days} working day{many} over"


def sentence(move: MoveRow) -> str:
    """A move as the trail tells it."""
    act = ACTS[move.act]
    words = f"{move.by} {act.done}"
    if move.act in ("advance", "dispense") and move.from_stage:
        words = f"{STAGES[move.from_stage].done} by {move.by}"
    if len(move.sides) == 1:
        words += f", {SIDE_WORDS[move.sides]} only"
    if move.act == "send_back" and move.to_stage:
        words += f" to {STAGES[move.to_stage].queue.removeprefix('To ')}"
    if move.reason:
        words += f": {act.reasons.get(move.reason, move.reason)}"
    if move.together:
        words += ", several stages booked together"
    return words


def earlier_order(db: Session, code: str, viewer: Viewer) -> dict[str, Any]:
    """The form of a new order that starts from this pair's: wearer, shoe, route and prescription as they hold now."""
    loaded = bench.find(db, code, viewer)
    order, patient = orders.order_and_patient(db, loaded.row["order_id"])
    typed: dict[str, Any] = {
        "repeats": loaded.state.code,
        "clinic_id": str(patient.clinic_id),
        "label": patient.label,
        "way": order.way,
        "sides": order.sides,
        "risks": patient.risks,
        "prescriber_id": str(order.prescriber_id),
    }
    for name in ("name", "born_on", "born_year", "posture_left", "posture_right"):
        value = getattr(patient, name)
        typed[name] = "" if value is None else str(value)
    typed["mass_kg"] = mass_typed(patient.mass_kg, viewer.units) if patient.mass_kg else ""
    for name, value in order.shoe.items():
        typed[f"shoe.{name}"] = length_typed(value, viewer.units) if name == "inside_width" else str(value)
    for side, foot in order.feet.items():
        typed |= {f"foot.{side}.{name}": length_typed(value, viewer.units) for name, value in foot.items()}
    return as_typed(orders.holding(db, order.id).body, typed, viewer.units)


def same_captures(db: Session, code: str, viewer: Viewer) -> dict[str, str]:
    """What the form of a second pair says of the captures of this one: whose they are, and how old the oldest is."""
    loaded = bench.find(db, code, viewer)
    days = captured_on(db, loaded.row["order_id"], viewer.zone)
    return {"same": loaded.state.code, "captured_on": min(days.values()).isoformat() if days else ""}


def wearer(db: Session, loaded: Loaded, units: str) -> list[tuple[str, str]]:
    """The wearer's record in words, for the own clinics alone; what is not known is left out."""
    order, patient = orders.order_and_patient(db, loaded.row["order_id"])
    born = f"{patient.born_on:%-d %b %Y}" if patient.born_on else patient.born_year
    shoe = [SHOE_KINDS.get(order.shoe.get("kind", ""), "")]
    if "size" in order.shoe:
        shoe.append(f"{order.shoe['size']:g} {SYSTEMS[order.shoe['system']].words}")
    if "inside_width" in order.shoe:
        shoe.append(f"{length_words(order.shoe['inside_width'], units)} wide inside")
    if "liner" in order.shoe:
        shoe.append("liner comes out" if order.shoe["liner"] == "out" else "liner does not come out")
    postures = [f"{side} {value}" for side, value in _postures(patient) if value is not None]
    facts = [
        ("Name", patient.name),
        ("Born", born),
        ("Body mass", mass_words(patient.mass_kg, units) if patient.mass_kg else None),
        ("Foot Posture Index", ", ".join(postures)),
        ("Risk marks", ", ".join(RISKS[risk] for risk in patient.risks)),
        ("Feet", ", ".join(_foot_words(side, foot, units) for side, foot in order.feet.items())),
        ("Shoe", ", ".join(part for part in shoe if part)),
    ]
    return [(name, str(value)) for name, value in facts if value] or [("Name", "not given")]


def _foot_words(side: str, foot: Mapping[str, int], units: str) -> str:
    parts = [f"{length_words(value, units)} {'long' if name == 'length' else 'broad'}" for name, value in foot.items()]
    return f"{SIDE_WORDS[side].removesuffix(' only')} {' and '.join(parts)}"


def _postures(patient: Patient) -> list[tuple[str, int | None]]:
    return [("left", patient.posture_left), ("right", patient.posture_right)]


PAGE_ACTS = (
    *("advance", *MARKS_START, "park", "ask", "answer", "resume", "send_back", "recapture", "promise", "take_back"),
    *("refurbish", "remake", "close", "uncollected", "reopen", "withdraw"),
)
"""Acts with a button at the head of the pair's page; the others stand in the fragments of their room."""


LOT = ("lot_id", "side", "stage", "kind", "number", "name", "at", "scrapped_at", "held")
BELONGING = ("id", "kind", "side", "place", "becomes", "shelf", "settled_at")


def pair_answer(db: Session, loaded: Loaded) -> dict[str, Any]:
    """The pair as `GET /api/v1/pairs/{code}` gives it."""
    row, state = loaded.row, loaded.state
    holds = bench.hold_rows(db, row["id"]) if row["open_holds"] else []
    stopping = {hold.id for hold in state.stopping}
    photos = bench.photos_of(db, row["id"])
    return {
        "code": state.code,
        "label": row["label"],
        "stage": state.stage,
        "end": state.end,
        "sides": dict(state.sides) or dict.fromkeys(state.all_sides),
        "route": list(state.route),
        "place": state.place if state.stage else None,
        "visit": {"number": row["visit_number"], "reason": state.reason},
        "parked": _parked([each for each in holds if each.id in stopping]) if stopping else None,
        "open": [
            {name: getattr(each, name) for name in ("id", "kind", "reason", "waiting_on", "before", "since", "words")}
            for each in holds
        ],
        "wanted_on": row["wanted_on"],
        "promised_on": row["promised_on"],
        "prescription": bench.prescription_number(db, row["order_id"]),
        "needs": row["needs"],
        "belongings": [{name: getattr(each, name) for name in BELONGING} for each in bench.belongings(db, [row["id"]])],
        "lots": [{name: getattr(each, name) for name in LOT} for each in bench.lots_of_pair(db, row["id"])],
        "version": state.version,
        "moves": [
            move_answer(move) | {"photos": [photo.id for photo in photos.get(move.id, ())]}
            for move in reversed(bench.history(db, row["id"]))
        ],
    }


def _parked(holds: list[HoldRow]) -> dict[str, Any]:
    first = holds[0]
    return {
        "reason": first.words or first.reason or first.kind,
        "waiting_on": first.waiting_on,
        "since": first.since,
        "open": [
            {"id": h.id, "kind": h.kind, "reason": h.reason, "waiting_on": h.waiting_on, "words": h.words}
            for h in holds
        ],
    }


def move_answer(move: MoveRow) -> dict[str, Any]:
    names = ("act", "from_stage", "to_stage", "sides", "reason", "words", "by", "at", "done_at", "together", "version")
    return {name: getattr(move, name) for name in names}


def buttons(
    loaded: Loaded, viewer: Viewer, moves: list[MoveRow], now: datetime, marks_start: bool = False
) -> list[Button]:
    """The acts this person has on the pair, first the one that brings it on.

    What another role owns is left out; what is this person's but not possible now is shown with its reason. Beginning
    and putting down are there where the lab records them, one of the two at a time.
    """
    state = loaded.state
    here = viewer.at(loaded.row["clinic_id"])
    left_out = {"start" if loaded.row["started_by"] else "put_down", *(() if marks_start else MARKS_START)}
    last = moves[0] if moves else None
    if last is None or last.staff_id != viewer.staff_id or not can_take_back(last, now):
        left_out.add("take_back")
    shown = []
    for act in (ACTS[key] for key in PAGE_ACTS if key not in left_out):
        if may(state, act, here) is not None or (state.stage not in act.at and state.end not in act.after):
            continue
        why_not = when(state, act)
        if why_not and act.key in ("answer", "resume"):
            continue
        shown.append(Button(act, label(act, state.stage), why_not))
    return shown


def label(act: Act, stage: str | None) -> str:
    """The main button says what will be true: "Pressed"."""
    return STAGES[stage].done if act.key in ("advance", "dispense") and stage else act.button


def can_take_back(move: MoveRow, now: datetime) -> bool:
    return move.act in TAKEN_BACK and not move.takes_back and now - move.at <= TAKE_BACK_WITHIN
