"""A clinic's own wearing-in plans: adding, changing, ending; a plan that somebody is worn in by keeps its numbers."""

from collections.abc import Mapping

from sqlmodel import Session

from app import clock
from app.errors import NotFound
from app.fitting.queries import plans
from app.fitting.rules import plan, review
from app.fitting.tables import ClinicPlan
from app.journal import actions as journal
from app.people import queries as people
from app.people.permissions import need
from app.people.rules import Viewer
from app.people.tables import Clinic


def keep_plan(db: Session, *, clinic_id: int, typed: Mapping[str, str], by: Viewer, plan_id: int | None = None) -> str:
    """Adds a plan, or puts a changed one in the place of `plan_id`; answers its name.

    What was typed is `name`, `start_minutes`, `step_minutes` and `target_minutes`. Nothing changed writes nothing.
    """
    clinic = people.clinic(db, clinic_id)
    need(by, "keep_wearing_plans", clinic.id)
    # Two people at once: the second sees what the first has named.
    db.get_one(Clinic, clinic.id, with_for_update=True)
    there = plans.offered(db, [clinic.id])
    before = _among(there, plan_id) if plan_id is not None else None
    wrong: dict[str, str] = {}
    name, numbers = plan.read_own(typed, [each.name for each in there if each is not before], wrong)
    review.fail(wrong, "The plan needs another look.")
    new = {each: getattr(numbers, each) for each in plan.NUMBERS}
    old = {each: getattr(before, each) if before else None for each in plan.NUMBERS}
    if before and (before.name, old) == (name, new):
        return name
    if before:
        _end(db, before)
    db.add(ClinicPlan(clinic_id=clinic.id, name=name, made_at=clock.now(), **new))
    changed = {each: [old[each], new[each]] for each in new if old[each] != new[each]}
    words = name if before is None or before.name == name else f"{before.name} → {name}"
    _write_down(db, "plan_changed" if before else "plan_added", by, clinic.id, words, changed)
    return name


def drop_plan(db: Session, *, clinic_id: int, plan_id: int, by: Viewer) -> str:
    """The plan is offered no more; answers its name."""
    clinic = people.clinic(db, clinic_id)
    need(by, "keep_wearing_plans", clinic.id)
    row = _among(plans.offered(db, [clinic.id]), plan_id)
    _end(db, row)
    _write_down(db, "plan_ended", by, clinic.id, row.name, {})
    return row.name


def _among(there: list[ClinicPlan], plan_id: int) -> ClinicPlan:
    found = next((each for each in there if each.id == plan_id), None)
    if found is None:
        raise NotFound("This plan is not offered any more; it was changed or ended meanwhile.")
    return found


def _end(db: Session, row: ClinicPlan) -> None:
    row.ended_at = clock.now()
    db.add(row)
    db.flush()


def _write_down(
    db: Session, what: str, by: Viewer, clinic_id: int, name: str, changed: Mapping[str, list[int | None]]
) -> None:
    """The log itself holds no words: the plan's name stands in a note."""
    note = journal.keep_words(db, name, None)
    journal.write(db, what, by=by.staff_id, subject="clinic", subject_id=clinic_id, facts=dict(changed), note=note)
