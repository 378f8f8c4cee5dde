"""Writing in bulk: rows collected by table under numbers of their own, then inserted at once."""

from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import func, insert, select
from sqlmodel import Session, SQLModel

from app.people import queries as people
from app.people.queries import ClinicRow, Counted
from app.people.rules import Role, Viewer
from app.trade.worktime import WorkCalendar

Row = dict[str, Any]
TABLES = (
    *("note", "patient", "orders", "prescription", "capture", "worked_from", "pair", "visit", "move", "hold", "stay"),
    *("belonging", "wearing_plan", "review", "adjustment", "recheck"),
)
"""In the order of their foreign keys."""
WITHOUT_ID = ("worked_from", "hold", "stay")
"""Tables whose rows are named by others' numbers."""


@dataclass(frozen=True)
class House:
    """Who and what there is to work with."""

    clinics: list[ClinicRow]
    technicians: list[int]
    clinicians: dict[int, int]
    """A clinic's clinician."""
    stages_on: frozenset[str]
    calendar: WorkCalendar
    zone: str
    counting: list[Counted]
    """The calendars in which stays are kept."""

    def anyone(self, clinic_id: int) -> Viewer:
        """Somebody with every right, whose acts the machine decides on; who did them is drawn."""
        everywhere = frozenset(clinic.id for clinic in self.clinics)
        return Viewer(self.clinicians[clinic_id], "", frozenset(Role), everywhere, self.zone)


def house(db: Session) -> House:
    lab = people.lab(db)
    staff = [person for person in people.staff(db) if person.ended_at is None]
    clinics = people.clinics(db)
    # Where there are several, it is one with few other roles.
    theirs = sorted((p for p in staff if Role.CLINICIAN in p.roles), key=lambda p: -len(p.roles))
    clinicians = {clinic_id: person.id for person in theirs for clinic_id in person.clinics}
    return House(
        clinics=[clinic for clinic in clinics if clinic.id in clinicians],
        technicians=[p.id for p in staff if Role.TECHNICIAN in p.roles],
        clinicians=clinicians,
        stages_on=frozenset(lab.stages_on),
        calendar=people.work_calendar(db),
        zone=lab.zone,
        counting=people.counting(db),
    )


@dataclass
class Rows:
    """What is to be inserted, by table, and the next free number of each."""

    free: dict[str, int]
    of: dict[str, list[Row]] = field(default_factory=dict)

    def take(self, table: str) -> int:
        number = self.free.get(table, 1)
        self.free[table] = number + 1
        return number

    def add(self, table: str, **values: Any) -> Row:
        self.of.setdefault(table, []).append(values)
        return values


def rows_after(db: Session) -> Rows:
    """None yet; numbers go on from what the database holds."""
    return Rows({name: _next_id(db, name) for name in TABLES if name not in WITHOUT_ID})


def _next_id(db: Session, name: str) -> int:
    table = SQLModel.metadata.tables[name]
    return int(db.execute(select(func.coalesce(func.max(table.c.id), 0))).scalar_one()) + 1


def store(db: Session, rows: Rows) -> None:
    """Inserts all of them; afterwards there are none again."""
    db.flush()
    for name in TABLES:
        if new := rows.of.get(name):
            db.execute(insert(SQLModel.metadata.tables[name]), new)
    if db.get_bind().dialect.name == "postgresql":
        # Its sequences have not seen the numbers that were given here.
        for name in rows.of.keys() - set(WITHOUT_ID):
            sequence = func.pg_get_serial_sequence(name, "id")
            last = select(func.max(SQLModel.metadata.tables[name].c.id)).scalar_subquery()
            db.execute(select(func.setval(sequence, last)))
    rows.of.clear()
