"""Which day can be promised by the route's standard working days, where nothing better is known."""

from datetime import date

from sqlmodel import Session

from app import clock
from app.bench.rules.stages import STANDARD_DAYS
from app.people import queries as people
from app.people.tables import Clinic


def standard_days(db: Session, way: str) -> int:
    """In the lab, without the way to a clinic by parcel."""
    return int(people.limit(db, f"standard_days_{way}") or STANDARD_DAYS[way])


def standard_day(db: Session, way: str, clinic_id: int) -> date:
    """The day at the clinic of what is checked in today."""
    clinic = db.get_one(Clinic, clinic_id)
    days = standard_days(db, way) + (clinic.transit_days if clinic.by_parcel else 0)
    return people.work_calendar(db).add_working_days(clock.today(people.lab(db).zone), days)
