"""The wearing-in plans that clinics have of their own."""

from collections.abc import Collection

from sqlalchemy import select
from sqlmodel import Session, col

from app.fitting.rules.plan import Plan, own_key
from app.fitting.tables import ClinicPlan


def offered(db: Session, clinics: Collection[int]) -> list[ClinicPlan]:
    """Plans that can be chosen now, by name."""
    wanted = select(ClinicPlan).where(col(ClinicPlan.clinic_id).in_(list(clinics)), col(ClinicPlan.ended_at).is_(None))
    return list(db.execute(wanted.order_by(col(ClinicPlan.clinic_id), col(ClinicPlan.name))).scalars())


def to_choose(db: Session, clinic_id: int) -> dict[str, Plan]:
    """The same of one clinic, as the dispensing reads them, by key."""
    return {
        own_key(row.id): Plan(own_key(row.id), row.start_minutes, row.step_minutes, row.target_minutes)
        for row in offered(db, [clinic_id])
    }


def name_of(db: Session, key: str) -> str:
    """What the clinic called a plan of its own, ended or not; empty for a published one."""
    number = key.removeprefix(own_key(""))
    if not number.isdecimal() or key != own_key(number):
        return ""
    return db.execute(select(col(ClinicPlan.name)).where(col(ClinicPlan.id) == int(number))).scalar() or ""
