"""The wearing-in plan as a calendar to take home; making and changing the plan is the fitting room's."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import NamedTuple

from sqlmodel import Session

from app.bench.queries import Loaded
from app.errors import Unready
from app.fitting import queries as fitting
from app.fitting.rules import plan
from app.people import queries as people
from app.people.queries import ClinicRow
from app.trade import wearing


class WearingDay(NamedTuple):
    number: int
    day: date
    month: str
    hours: str
    hurt: bool


class WearingSheet(NamedTuple):
    """`weeks` are Monday to Sunday, None for a day outside the plan."""

    label: str
    code: str
    sides: str
    clinic: ClinicRow
    review_on: date | None
    appointment: datetime | None
    weeks: list[list[WearingDay | None]]
    target: str
    hours_from: str


def wearing_sheet(db: Session, loaded: Loaded, today: date) -> WearingSheet:
    """The wearing-in plan that goes home with the wearer, as it stands after the days that hurt."""
    row = loaded.row
    worn = fitting.wearing_plan(db, row["id"])
    if worn is None:
        raise Unready(f"{row['code']} has no wearing-in plan yet: it is made when the pair is dispensed.")
    due = fitting.open_review(db, row["id"])
    numbers = (worn.start_minutes, worn.step_minutes, worn.target_minutes)
    return WearingSheet(
        label=row["label"],
        code=row["code"],
        sides=row["all_sides"],
        clinic=people.clinic(db, row["clinic_id"]),
        review_on=due.due_on if due else None,
        appointment=due.appointment if due else None,
        weeks=weeks(plan.days_of(worn.from_day, *numbers, worn.painful_days, today)),
        target=plan.hours_words(worn.target_minutes),
        hours_from=hours_from(worn.plan, numbers),
    )


def weeks(days: Sequence[tuple[int, date, int, bool]]) -> list[list[WearingDay | None]]:
    cells: list[WearingDay | None] = [None] * days[0][1].weekday()
    cells += [
        WearingDay(number, day, f"{day:%b}", plan.hours_words(minutes), hurt) for number, day, minutes, hurt in days
    ]
    cells += [None] * (-len(cells) % 7)
    return [cells[start : start + 7] for start in range(0, len(cells), 7)]


def hours_from(key: str, numbers: tuple[int, int, int]) -> str:
    """Where the hours come from: a published plan, or the clinician who changed one."""
    published = wearing.PLANS.get(key)
    if published is None or (published.start_minutes, published.step_minutes) != numbers[:2]:
        return "set by your clinician."
    own = "" if published.target_minutes == numbers[2] else " The hours aimed at are set by your clinician."
    return f"{published.words}. {published.source}{own}"
