"""Taking an order in: wearer, prescription, captures and pair in one transaction."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, NamedTuple

from sqlmodel import Session

from app import clock
from app.bench import queries
from app.bench.actions.checking import day_to_promise
from app.bench.actions.moving import write
from app.bench.queries import Loaded
from app.bench.rules.machine import Asked, Outcome, State
from app.bench.rules.orders import Wanted
from app.bench.rules.stages import SIDES, STAGES, WAYS, Terms, joins_at, new_route
from app.bench.tables import Pair, Serial, Visit
from app.capture import actions as capture
from app.capture.rules import KINDS
from app.errors import BadInput, NotFound
from app.orders import actions as orders
from app.orders.rules import read_body, read_feet
from app.orders.rules.checks import Answers
from app.orders.tables import Order
from app.people import queries as people
from app.people.rules import Viewer
from app.trade import codes


class Placed(NamedTuple):
    code: str
    version: int
    pair_id: int
    order_id: int
    move_id: int
    starts_at: str


def place(
    db: Session,
    *,
    by: Viewer,
    wanted: Wanted,
    start: str = "check_in",
    reason: str = "new",
    carried: str = "",
    replaces: int | None = None,
    facts: Mapping[str, Any] | None = None,
    answers: Answers | None = None,
) -> Placed:
    """Writes order, prescription, captures, pair, first visit and first move.

    `start` is a later stage while captures or positives are here; `carried` are sides that come along without work.
    With `answers` the prescription is checked, and everything that is found needs its answer.
    """
    _check(wanted, by.zone)
    body = read_body(wanted.prescription, wanted.sides)
    feet = read_feet(wanted.feet, wanted.sides)
    if answers and wanted.captured_on:
        answers = replace(answers, captured_on=dict.fromkeys(wanted.sides, wanted.captured_on))
    patient = orders.find_or_add_patient(
        db, by=by, clinic_id=wanted.clinic_id, label=wanted.label, facts=dict(wanted.wearer)
    )
    order, _ = orders.order(
        db,
        by=by,
        patient=patient,
        prescriber_id=wanted.prescriber_id,
        way=wanted.way,
        sides=wanted.sides,
        body=body,
        stage_notes=dict(wanted.stage_notes),
        wanted_on=wanted.wanted_on,
        rush=wanted.rush,
        ulcer=wanted.ulcer,
        shoe=dict(wanted.shoe),
        feet=feet,
        answers=answers,
    )
    order_id = order.id
    order.repeats_id = _repeated(db, by, wanted.repeats, patient.id)
    if start == "check_in":
        made = {side: kind for side, kind in wanted.captures.items() if side not in carried}
        capture.expect(db, order_id=order_id, patient_id=patient.id, kinds=made, captured_on=wanted.captured_on)
    terms = queries.terms_of(db, wanted.clinic_id)
    route = new_route(wanted.way, terms, start)
    loaded = _pair(db, order, wanted, patient.label, terms, route, reason, replaces)
    working = "".join(side for side in wanted.sides if side not in carried)
    sides = {side: joins_at(route) if side in carried else route[0] for side in wanted.sides}
    state = loaded.state
    after = State(state.code, sides, state.all_sides, route, state.terms, reason, version=1)
    asked = Asked("order", None)
    more: dict[str, Any] = {"route": list(route)} | dict(facts or {})
    if carried:
        more["stages"] = sides
    # What was checked in for an earlier pair is here: the lab's day is promised as it would be at check-in.
    promised = {"promised_on": day_to_promise(db, loaded)} if reason == "new" and start != "check_in" else {}
    moved = write(db, loaded, asked, Outcome(after, working, route[0]), by, changes=promised, extra=more)
    return Placed(state.code, 1, moved.pair_id, order_id, moved.move_id, route[0])


def _repeated(db: Session, by: Viewer, code: str, patient_id: int) -> int | None:
    """The earlier order, if it was this wearer's: a form may begin from one pair and be ordered for somebody else."""
    if not code:
        return None
    try:
        row = queries.find(db, code, by).row
    except NotFound:  # of a clinic that is no longer theirs: the order stands without it
        return None
    return int(row["order_id"]) if row["patient_id"] == patient_id else None


def _check(wanted: Wanted, zone: str) -> None:
    wrong: dict[str, str] = {}
    if wanted.way not in WAYS:
        wrong["way"] = f"One of {', '.join(WAYS)}; '{wanted.way}' is none of them."
    if wanted.sides not in ("L", "R", "LR"):
        wrong["sides"] = f"A pair is L, R or LR; '{wanted.sides}' is none of them."
    for side, kind in wanted.captures.items():
        if side not in SIDES or kind not in KINDS:
            wrong[f"captures.{side}"] = f"'{kind}' is not a kind of capture. One of {', '.join(KINDS)}."
    for stage in wanted.stage_notes:
        if stage not in STAGES:
            wrong[f"stage_notes.{stage}"] = f"There is no stage '{stage}'."
    if wanted.captured_on and wanted.captured_on > clock.today(zone):
        wrong["captured_on"] = f"{wanted.captured_on} is yet to come; say when the feet were cast or scanned."
    if wrong:
        raise BadInput(" ".join(wrong.values()), wrong)


def _pair(
    db: Session,
    order: Order,
    wanted: Wanted,
    label: str,
    terms: Terms,
    route: tuple[str, ...],
    reason: str,
    replaces: int | None,
) -> Loaded:
    """The pair's row and its first visit, not yet anywhere: its first move puts it there."""
    at = clock.now()
    pair = Pair(
        code=_next_code(db),
        order_id=order.id,
        clinic_id=order.clinic_id,
        label=label,
        all_sides=wanted.sides,
        since=at,
        place="lab",
        reason=reason,
        wanted_on=wanted.wanted_on,
        rush=bool(wanted.rush),
        tray=wanted.tray,
        replaces_id=replaces,
    )
    db.add(pair)
    db.flush()
    visit = Visit(
        pair_id=pair.id,
        number=1,
        reason=reason,
        way=wanted.way,
        route=list(route),
        stages_on=sorted(terms.stages_on),
        by_parcel=terms.by_parcel,
        trims_at_clinic=terms.trims_at_clinic,
        started_at=at,
    )
    db.add(visit)
    db.flush()
    pair.visit_id = visit.id
    db.flush()
    return queries.find_by_id(db, pair.id)


def _next_code(db: Session) -> str:
    """The year's next code; its row in `serial` stays locked to the end, so that no two orders get the same."""
    year = clock.today(people.lab(db).zone).year % 100
    row = db.get(Serial, year, with_for_update=True)
    if row is None:
        row = Serial(year=year, last=0)
        db.add(row)
    row.last = codes.next_serial(year, row.last)
    db.flush()
    return codes.pair_code(year, row.last)
