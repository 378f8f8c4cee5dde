"""Dispensing: the fit check, the release, and what goes home with the wearer; and its undoing."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from sqlalchemy import update
from sqlmodel import Session, col, select

from app import clock
from app.bench.actions import Moved
from app.bench.actions import belongings as things
from app.bench.queries import Loaded
from app.bench.rules.machine import Asked
from app.bench.tables import Move
from app.errors import Unready
from app.fitting import queries
from app.fitting.actions.common import act, day_of, next_review, standing
from app.fitting.queries import plans
from app.fitting.rules import fit, plan, review
from app.fitting.tables import FitCheck, Recheck, Review, WearingPlan
from app.journal import actions as journal
from app.orders.rules import is_child, read_shoe
from app.orders.rules.dues import open_dues
from app.orders.tables import Order, Patient
from app.people import queries as people
from app.people.rules import Viewer
from app.trade import wearing


def dispense(db: Session, *, code: str, asked: Asked, by: Viewer, done_at: datetime | None = None) -> Moved:
    """A fit check that passes, or a reason in words, releases the pair with a wearing-in plan and its review.

    `facts`: `confirmed` (L, R), `fit` by side, and if wanted `before` (pain and comfort, asked at the pair's first
    dispensing), `plan`, `shoe` (replaces the order's), `trimmed` and `given_back` (numbers of the belongings that the
    wearer takes home).
    """
    loaded = standing(db, code, asked, by)
    facts, sides = asked.facts, loaded.state.all_sides
    patient = db.get_one(Patient, loaded.row["patient_id"])
    _nothing_open(db, loaded)
    wrong: dict[str, str] = {}
    fit.read_confirmed(facts.get("confirmed"), sides, wrong)
    answers = fit.read_fit(facts.get("fit"), sides, wrong)
    chosen = plan.read_plan(facts.get("plan"), patient.risks, plans.to_choose(db, loaded.row["clinic_id"]), wrong)
    before = review.read_before(facts.get("before"), queries.wearing_plan(db, loaded.row["id"]) is None, wrong)
    trimmed = facts.get("trimmed", False)
    if not isinstance(trimmed, bool):
        wrong["trimmed"] = "Say true or false."
    shoe = facts.get("shoe")
    if shoe and not (isinstance(shoe, Mapping) and all(isinstance(each, str | int | float) for each in shoe.values())):
        wrong["shoe"] = "A shoe has its kind, size and system."
    review.fail(wrong, "The fit check needs another look.")
    result = fit.result(answers, sides, trimmed, asked.reason or "")
    given = things.give_back(db, pair_id=loaded.row["id"], raw=facts.get("given_back") or [], by=by)
    extra = {"result": result} | ({"given_back": given} if given else {})
    moved = act(db, code, asked, by, done_at, dropped=("fit", "before", "plan", "shoe", "given_back"), extra=extra)
    check = _keep_check(db, moved, by, answers, result, before)
    if shoe:
        check.shoe_before = _change_shoe(db, by, moved.order_id, read_shoe(shoe))
    if moved.state.end is None:  # a refurbishment ends here: the wearer knows the pair
        _send_home(db, moved, patient, chosen, day_of(db, done_at))
    db.flush()
    return moved


def _nothing_open(db: Session, loaded: Loaded) -> None:
    """A clinic may let dispensing wait for approval or payment."""
    order, clinic = db.get_one(Order, loaded.row["order_id"]), people.clinic(db, loaded.row["clinic_id"])
    if waits := open_dues(order.dues, clinic.waits_for):
        words = " and ".join(waits)
        raise Unready(
            f"{clinic.name} dispenses when {words} is settled; for {loaded.state.code} it is open. Note on the pair's "
            "page how it stands, or waive it there.",
            stage=loaded.state.stage,
        )


def hold_back(db: Session, *, code: str, asked: Asked, by: Viewer, done_at: datetime | None = None) -> Moved:
    """A fit check after which the pair is not released but sent back or parked: it is kept all the same.

    `facts`: `fit` by side, as far as it was looked at.
    """
    loaded = standing(db, code, asked, by)
    wrong: dict[str, str] = {}
    if loaded.state.stage != "dispense":
        wrong["fit"] = "A fit check belongs to the day of dispensing."
    answers = fit.read_fit(asked.facts.get("fit"), loaded.state.all_sides, wrong, partly=True)
    review.fail(wrong, "The fit check needs another look.")
    result = fit.HELD_BACK[asked.act]
    moved = act(db, code, asked, by, done_at, dropped=("fit",), extra={"result": result})
    _keep_check(db, moved, by, answers, result)
    db.flush()
    return moved


def _keep_check(
    db: Session, moved: Moved, by: Viewer, answers: dict[str, Any], result: str, before: Mapping[str, int] = {}
) -> FitCheck:
    made = FitCheck(
        pair_id=moved.pair_id,
        move_id=moved.move_id,
        staff_id=by.staff_id,
        at=clock.now(),
        answers=answers,
        result=result,
        pain=before.get("pain"),
        comfort=before.get("comfort"),
    )
    db.add(made)
    return made


def _send_home(db: Session, moved: Moved, patient: Patient, chosen: plan.Plan, today: date) -> None:
    """The plan from the day of dispensing on, the review after it, and for some wearers the rechecks."""
    calendar = people.work_calendar(db)
    db.add(
        WearingPlan(
            pair_id=moved.pair_id,
            move_id=moved.move_id,
            from_day=today,
            start_minutes=chosen.start_minutes,
            step_minutes=chosen.step_minutes,
            target_minutes=chosen.target_minutes,
            plan=chosen.key,
        )
    )
    next_review(db, moved, patient, today)
    kind = plan.recheck_kind(patient.risks, is_child(patient.born_on, patient.born_year, today))
    # After an adjustment the rechecks of the first dispensing still stand.
    there = select(Recheck.id).where(Recheck.pair_id == moved.pair_id, Recheck.state == "open").limit(1)
    if kind and db.exec(there).first() is None:
        db.add_all(
            Recheck(patient_id=patient.id, pair_id=moved.pair_id, move_id=moved.move_id, due_on=day, kind=kind)
            for day in wearing.recheck_days(today, calendar)
        )


def _change_shoe(db: Session, by: Viewer, order_id: int, new: dict[str, Any]) -> dict[str, Any] | None:
    """The order's shoe from now on; returns the one it replaces, None where it is the same."""
    order = db.get_one(Order, order_id)
    changed = sorted(key for key in {*order.shoe, *new} if order.shoe.get(key) != new.get(key))
    if not changed:
        return None
    before, order.shoe = order.shoe, new
    journal.write(db, "shoe_changed", by=by.staff_id, subject="order", subject_id=order_id, facts={"fields": changed})
    return before


def undo_dispense(db: Session, *, move_id: int, order_id: int, by: Viewer) -> None:
    """The dispensing of this move was taken back: what it had made is void, what it had changed is as before.

    The fit check stays, with the move that it belongs to.
    """
    things.keep_again(db, db.get_one(Move, move_id).facts.get("given_back", ()))
    check = db.exec(select(FitCheck).where(FitCheck.move_id == move_id)).first()
    if check is not None and check.shoe_before is not None:
        _change_shoe(db, by, order_id, check.shoe_before)
    db.execute(update(WearingPlan).where(col(WearingPlan.move_id) == move_id).values(void=True))
    for table in (Review, Recheck):
        db.execute(update(table).where(table.move_id == move_id, table.state == "open").values(state="void"))  # type: ignore[arg-type]
