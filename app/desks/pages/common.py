"""What every page of the desks shows of the lab itself, and how large a form may be that can hold files."""

from typing import Any

from fastapi import Request
from sqlmodel import Session

from app.bench.rules.stages import STAGES
from app.errors import TooLarge
from app.people import queries as people
from app.trade import worktime
from app.web import MAX_BODY

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


def has_files(request: Request) -> bool:
    return request.headers.get("content-type", "").startswith("multipart/form-data")


def refuse_large(request: Request) -> None:
    """For a form without files at an address where one with files may be large."""
    length = request.headers.get("content-length", "")
    if not length.isdigit() or int(length) > MAX_BODY:
        raise TooLarge(f"A form without files has at most {MAX_BODY:,} bytes.")
