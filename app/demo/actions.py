"""Makes the invented lab: Saltmarsh Bay, its workshop and three clinics, and the people who work there."""

from datetime import timedelta
from pathlib import Path

from sqlmodel import Session

from app import clock
from app.people.rules import Role
from app.people.tables import Calendar, Clinic, Lab, Staff, StaffClinic

ZONE = "Europe/London"
HOURS: list[list[list[str]]] = [[["08:00", "12:30"], ["13:00", "17:00"]] if day < 5 else [] for day in range(7)]
CLINICS = (
    ("Harbour Steps", "2 Harbour Steps, Saltmarsh Bay", "01632 960 111", False, False),
    ("Gull Lane", "17 Gull Lane, Saltmarsh Bay", "01632 960 222", True, True),
    ("Upper Quay", "5 Upper Quay, Saltmarsh Bay", "01632 960 333", True, False),
)
"""Name, address, telephone (numbers set aside for fiction), by parcel, trims itself."""
PEOPLE = (
    ("Tamsin Reed", (Role.TECHNICIAN,), ()),
    ("Piran Oake", (Role.TECHNICIAN,), ()),
    ("Wenna Marsh", (Role.TECHNICIAN,), ()),
    ("Isolde Finch", (Role.CLINICIAN,), ("Harbour Steps",)),
    ("Jory Vane", (Role.CLINICIAN,), ("Gull Lane",)),
    ("Kerra Stone", (Role.CLINICIAN,), ("Upper Quay",)),
    ("Morwenna Pike", (Role.MANAGER,), ()),
    ("Denzil Thorn", (Role.TECHNICIAN, Role.CLINICIAN, Role.MANAGER), ("Harbour Steps", "Gull Lane", "Upper Quay")),
)


def open_lab(db: Session) -> None:
    """The lab, marked as a demo so that it is never served as a real one."""
    calendar = Calendar(hours=HOURS, country="GB", region="ENG", closures=[], zone=ZONE, made_at=clock.now())
    db.add(calendar)
    db.flush()
    db.add(
        Lab(
            name="Saltmarsh Bay Orthotic Workshop",
            address="The Net Loft, 1 Slipway, Saltmarsh Bay",
            phone="01632 960 100",
            zone=ZONE,
            stages_on=["prepare", "correct", "grind", "inspect"],
            calendar_id=calendar.id,
            demo=True,
            marks_start=True,
        )
    )
    clinics: dict[str, int] = {}
    for name, address, phone, by_parcel, trims in CLINICS:
        clinic = Clinic(name=name, address=address, phone=phone, by_parcel=by_parcel, trims=trims)
        clinic.wearer_pages = not by_parcel  # the clinic in the house shows what the others have to switch on
        db.add(clinic)
        db.flush()
        clinics[name] = clinic.id
    for name, roles, own in PEOPLE:
        email = f"{name.split()[0].lower()}@saltmarsh.example"
        staff = Staff(email=email, name=name, roles=[str(role) for role in roles], joined_at=clock.now())
        db.add(staff)
        db.flush()
        db.add_all(StaffClinic(staff_id=staff.id, clinic_id=clinics[clinic]) for clinic in own)


CLOCK = "demo-clock"
"""The file in the demo's data folder that remembers how many seconds its clock is ahead."""


def set_demo_clock(data: Path, shift: timedelta) -> None:
    (data / CLOCK).write_text(str(shift.total_seconds()))
    clock.set_shift(shift)


def wind_demo_clock(data: Path) -> None:
    """At a start of the demo: the clock goes on from where it was put."""
    if (data / CLOCK).exists():
        clock.set_shift(timedelta(seconds=float((data / CLOCK).read_text())))
