"""What the job ticket says of a pair: the prescription in force, the way before it, and what the work needs."""

from collections.abc import Mapping
from datetime import date
from typing import Any, NamedTuple

from sqlmodel import Session, col, select

from app.bench.queries import Loaded
from app.bench.rules.figures import ON_THE_TICKET
from app.bench.rules.machine import State
from app.bench.rules.stages import STAGES, joins_at, work_words
from app.bench.tables import Move, Pair
from app.orders import queries as orders
from app.orders.rules import ITEMS, SHOE_KINDS, bench_marks, value_words
from app.paperwork.queries.figures import route_figures
from app.people import queries as people
from app.trade.sizes import SYSTEMS
from app.trade.units import length_words

VISITS = {"new": "New pair"}
"""What a visit's reason is called on paper where its own word is not enough."""
LINERS = {"out": "its own insole (liner) comes out", "in": "its own insole (liner) stays in"}
FROM_THE_START = ("new", "remake")
"""Visits that make the device; the others change one that is there."""


class Line(NamedTuple):
    """An item of the prescription, left and right in words."""

    label: str
    left: str
    right: str
    differs: bool


class Step(NamedTuple):
    """A stage of the route; each side is walked, come, carried (no work on it in this visit) or none (not made)."""

    number: int
    words: str
    left: str
    right: str


class StageNote(NamedTuple):
    """`number` is the step at which it stands, also for a stage that the lab has switched off."""

    number: int
    stage: str
    words: str


class Ticket(NamedTuple):
    code: str
    payload: str
    """What a scanner types: the code, and which prescription the ticket was printed by."""
    label: str
    clinic: str
    lab: str
    tray: int | None
    sides: str
    carried: str
    prescription: int
    visit: str
    visit_number: int
    replaces: str | None
    rush: bool
    day: date | None
    promised: bool
    lines: list[Line]
    steps: list[Step]
    notes: list[StageNote]
    cautions: list[str]
    marks: list[str]
    """What the work needs because of who will wear it; never why."""
    shoe: str
    figures: list[tuple[str, str]]
    """Stage and what it needs in numbers, by the bench's settings as they are when it is printed."""


def ticket(db: Session, loaded: Loaded) -> Ticket:
    """The job ticket by the prescription in force."""
    row, state = loaded.row, loaded.state
    holding = orders.holding(db, row["order_id"])
    carried = _carried(db, row["visit_id"], state)
    order, patient = orders.order_and_patient(db, row["order_id"])
    return Ticket(
        code=state.code,
        payload=f"{state.code}/{holding.number}",
        label=row["label"],
        clinic=people.clinic(db, row["clinic_id"]).name,
        lab=people.lab(db).name,
        tray=row["tray"],
        sides=state.all_sides,
        carried=carried,
        prescription=holding.number,
        visit=VISITS.get(state.reason, state.reason.capitalize()),
        visit_number=row["visit_number"],
        replaces=_code_of(db, row["replaces_id"]),
        rush=row["rush"],
        day=row["promised_on"] or row["wanted_on"],
        promised=row["promised_on"] is not None,
        lines=lines(holding.body, state.all_sides),
        steps=steps(state, carried),
        notes=stage_notes(orders.words(db, list(holding.stage_notes.values())), holding.stage_notes, state),
        cautions=list(dict.fromkeys(words for key in state.route for words in STAGES[key].cautions)),
        marks=bench_marks(patient.risks),
        shoe=shoe_words(order.shoe),
        figures=figures(db, loaded),
    )


def figures(db: Session, loaded: Loaded) -> list[tuple[str, str]]:
    """The stages of the route whose work is told in numbers, each with the few that a ticket has room for."""
    made = []
    for stage, found in route_figures(db, loaded):
        words = "; ".join(f"{each.label.lower()} {each.result}" for each in found if each.label in ON_THE_TICKET)
        if words:
            made.append((work_words(stage), words))
    return made


def lines(body: Mapping[str, Mapping[str, Any]], sides: str) -> list[Line]:
    """Every item that a side has; only a pair of two sides can differ."""
    made = []
    for item in ITEMS.values():
        words = {side: value_words(item, body[side][item.key]) for side in sides if item.key in body.get(side, {})}
        if words:
            left, right = words.get("L", ""), words.get("R", "")
            made.append(Line(item.label, left, right, len(sides) == 2 and left != right))
    return made


def shoe_words(shoe: Mapping[str, Any]) -> str:
    """The shoe that the pair is trimmed to, in a line; empty if nothing is known of it."""
    parts = [SHOE_KINDS[shoe["kind"]]] if shoe.get("kind") else []
    if shoe.get("size"):
        parts.append(f"size {shoe['size']:g} {SYSTEMS[shoe['system']].words}")
    if shoe.get("inside_width"):
        parts.append(f"{length_words(shoe['inside_width'])} wide inside")
    if shoe.get("liner") in LINERS:
        parts.append(LINERS[shoe["liner"]])
    return ", ".join(parts)


def steps(state: State, carried: str) -> list[Step]:
    return [
        Step(number, work_words(key), _side(state, carried, "L", number), _side(state, carried, "R", number))
        for number, key in enumerate(state.route, 1)
    ]


def _side(state: State, carried: str, side: str, number: int) -> str:
    if side not in state.all_sides:
        return "none"
    if side in carried and number <= state.route.index(joins_at(state.route)):
        return "carried"
    if not state.sides:
        return "walked" if state.end == "settled" else "come"
    return "walked" if number <= state.route.index(state.sides[side]) else "come"


def stage_notes(words: Mapping[int, str], notes: Mapping[str, int], state: State) -> list[StageNote]:
    """The notes in the order of the stages. A note for a stage not on the route stands at the next one that is.

    A later visit that does only some of the work leaves the notes for the rest out.
    """
    order = list(STAGES)
    made = []
    for key in sorted(notes, key=order.index):
        switched_off = STAGES[key].optional and key not in state.terms.stages_on
        if notes[key] not in words or not (key in state.route or switched_off or state.reason in FROM_THE_START):
            continue
        later = [at for at in state.route if order.index(at) >= order.index(key)]
        at = key if key in state.route else (later or state.route[-1:])[0]
        made.append(StageNote(state.route.index(at) + 1, work_words(key), words[notes[key]]))
    return made


def _carried(db: Session, visit_id: int, state: State) -> str:
    """Sides without work in this visit: its first move names those that have some, until another is sent back."""
    first = db.execute(
        select(col(Move.sides)).where(col(Move.visit_id) == visit_id).order_by(col(Move.id)).limit(1)
    ).scalar_one_or_none()
    if first is None or not state.route:
        return ""
    meet = state.route.index(joins_at(state.route))
    return "".join(
        side
        for side in state.all_sides
        if side not in first and (not state.sides or state.route.index(state.sides[side]) >= meet)
    )


def _code_of(db: Session, pair_id: int | None) -> str | None:
    return db.get_one(Pair, pair_id).code if pair_id else None
