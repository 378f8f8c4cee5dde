"""What every page of the desks shows of the lab itself."""

from typing import Any

from sqlmodel import Session

from app.bench.rules.stages import STAGES
from app.people import queries as people
from app.trade import worktime

NOTE_STAGES = [(key, stage.queue) for key, stage in STAGES.items() if stage.bench and key != "check_in"]
"""Where a note for the bench can be read."""


def lab_values(db: Session) -> dict[str, Any]:
    """What every page of the desks shows of the lab itself."""
    lab = people.lab(db)
    calendar = people.work_calendar(db)
    return {"demo": lab.demo, "calendar": calendar, "day_hours": _day_words(calendar)}


def _day_words(calendar: worktime.WorkCalendar) -> str:
    minutes = calendar.standard_day_minutes()
    hours = f"{minutes / 60:g}"
    return f"1\u00a0d\u00a0=\u00a0{hours}\u00a0h"
