"""Fills a lab with invented pairs in bulk: the demo's year, or as many as a measurement wants."""

from collections.abc import Callable
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.random import Generator
from sqlalchemy import func, insert, select
from sqlmodel import Session, SQLModel

from app import clock
from app.bench.rules.stages import STAGES
from app.bench.tables import Serial
from app.database import Database
from app.demo.year import House, Ids, Rows, Walker
from app.people import queries as people
from app.people.rules import Role
from app.trade import codes

TABLES = (
    *(
        "note",
        "patient",
        "orders",
        "prescription",
        "capture",
        "worked_from",
        "pair",
        "visit",
        "move",
        "hold",
        "stay",
        "wearing_plan",
        "review",
    ),
)
"""In the order of their foreign keys."""
CHUNK = 500
OPEN_PAIRS = 60
FINISHED = 1500
Told = Callable[[int], None]


def seed(database: Database, *, pairs: int, years: float, seed: int, told: Told = lambda _: None) -> int:
    """`pairs` orders spread evenly over the last `years`; those whose way is not over yet stand open."""
    rng, until = np.random.default_rng(seed), clock.now()
    starts = sorted(until - timedelta(days=float(day)) for day in rng.uniform(0.01, years * 365.25, pairs))
    made = 0
    for first in range(0, pairs, CHUNK):
        with database.writing() as db:
            filler = Filler(db, rng)
            for start in starts[first : first + CHUNK]:
                filler.add(start, until)
                made += 1
            filler.store()
        told(made)
    return made


def fill_demo(database: Database, *, finished: int = FINISHED, seed: int = 417, told: Told = lambda _: None) -> None:
    """A year of finished pairs, and about sixty open ones over all stages that this lab has."""
    rng, until = np.random.default_rng(seed), clock.now()
    with database.writing() as db:
        filler = Filler(db, rng)
        made = 0
        while made < finished:
            start = until - timedelta(days=float(rng.uniform(45, 380)))
            made += filler.add(start, until, wanted=lambda walker: walker.state.end is not None)
            if made % 100 == 0:
                told(made)
        filler.store()
    with database.writing() as db:
        filler = Filler(db, rng)
        stages = [stage for stage in STAGES if stage not in ("return", *_switched_off(filler))]
        clinics = [clinic.id for clinic in filler.house.clinics]
        for number in range(OPEN_PAIRS):
            # Each clinic has pairs to dispense and wearers to review.
            turn = clinics[number // len(stages) % len(clinics)]
            _open_at(filler, stages[number % len(stages)], until, turn)
        filler.store()


def _switched_off(filler: "Filler") -> list[str]:
    return [key for key, stage in STAGES.items() if stage.optional and key not in filler.house.stages_on]


def _open_at(filler: "Filler", stage: str, until: datetime, clinic_id: int) -> None:
    """A pair that stands at `stage` now: starts are tried, sooner ones for early stages, until one stands there."""

    def stands_there(walker: Walker) -> bool:
        theirs = stage not in ("dispense", "wear_in") or walker.clinic.id == clinic_id
        return walker.state.stage == stage and theirs

    early = list(STAGES).index(stage) / len(STAGES)
    for _ in range(400):
        days = filler.rng.uniform(0.02, 3) if early == 0 else filler.rng.uniform(1, 6 + 22 * early)
        if filler.add(until - timedelta(days=float(days)), until, wanted=stands_there):
            return


class Filler:
    """Walks pairs into rows and writes them at once; numbers go on from what the database holds."""

    def __init__(self, db: Session, rng: Generator) -> None:
        self.db, self.rng = db, rng
        self.house = _house(db)
        self.rows = Rows()
        self.ids = Ids({name: _next_id(db, name) for name in TABLES if name not in ("worked_from", "hold", "stay")})
        self.serials: dict[int, Serial] = {row.year: row for row in db.execute(select(Serial)).scalars()}

    def add(self, start: datetime, until: datetime, wanted: Callable[[Walker], bool] | None = None) -> bool:
        """One pair from an opening hour at or after `start`; kept only if it comes out as `wanted`."""
        start = self.house.calendar.add_minutes(start, 1)
        ids, rows = Ids(dict(self.ids.free)), Rows()
        serial = self._serial(start)
        walker = Walker(self.house, self.rng, ids, rows, codes.pair_code(serial[0], serial[1]), start)
        walker.walk(until)
        if wanted is not None and not wanted(walker):
            return False
        self.ids = ids
        self._row(serial[0]).last = serial[1]
        for table, new in rows.of.items():
            self.rows.of.setdefault(table, []).extend(new)
        return True

    def _serial(self, at: datetime) -> tuple[int, int]:
        year = at.astimezone(ZoneInfo(self.house.zone)).year % 100
        return year, codes.next_serial(year, self._row(year).last)

    def _row(self, year: int) -> Serial:
        row = self.serials.get(year)
        if row is None:
            row = self.serials[year] = Serial(year=year, last=0)
            self.db.add(row)
        return row

    def store(self) -> None:
        self.db.flush()
        for name in TABLES:
            if new := self.rows.of.get(name):
                self.db.execute(insert(SQLModel.metadata.tables[name]), new)
        self.rows = Rows()
        if self.db.get_bind().dialect.name == "postgresql":
            # Its sequences have not seen the numbers that were given here.
            for name in self.ids.free:
                sequence = func.pg_get_serial_sequence(name, "id")
                last = select(func.max(SQLModel.metadata.tables[name].c.id)).scalar_subquery()
                self.db.execute(select(func.setval(sequence, last)))


def _next_id(db: Session, name: str) -> int:
    table = SQLModel.metadata.tables[name]
    return int(db.execute(select(func.coalesce(func.max(table.c.id), 0))).scalar_one()) + 1


def _house(db: Session) -> House:
    lab = people.lab(db)
    staff = [person for person in people.staff(db) if person.ended_at is None]
    clinics = people.clinics(db)
    clinicians = {
        clinic.id: next(p.id for p in staff if Role.CLINICIAN in p.roles and clinic.id in p.clinics)
        for clinic in clinics
        if any(Role.CLINICIAN in p.roles and clinic.id in p.clinics for p in staff)
    }
    return House(
        clinics=[clinic for clinic in clinics if clinic.id in clinicians],
        technicians=[p.id for p in staff if Role.TECHNICIAN in p.roles],
        clinicians=clinicians,
        stages_on=frozenset(lab.stages_on),
        calendar=people.work_calendar(db),
        zone=lab.zone,
        calendar_id=lab.calendar_id,
    )
