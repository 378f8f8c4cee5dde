"""Fills a lab with invented pairs: the demo's year, or as many as a measurement wants.

What is over is written in bulk (walks.py), and so are plain pairs that are being made; what the demo has to show of
trouble and of the clinics' side is done by the real acts, each at its own time (stories).
"""

from collections.abc import Callable
from datetime import datetime, timedelta
from functools import partial
from zoneinfo import ZoneInfo

import numpy as np
from numpy.random import Generator
from sqlalchemy import select, update
from sqlmodel import Session, col

from app import clock
from app.bench.rules.stages import STAGES
from app.bench.tables import Serial
from app.database import Database
from app.demo import stories
from app.demo.ledger import Ledger
from app.demo.rows import House, Rows, house, rows_after, store
from app.demo.stock import note_lots
from app.demo.telling import Story, Teller, Telling, ago, tell
from app.demo.walks import Walker
from app.fitting.tables import Recheck
from app.storage import Storage
from app.trade import codes
from app.trade.worktime import WorkCalendar

CHUNK = 500
FINISHED, FINISHED_DAYS = 1500, (38, 380)
"""How many, and how many days ago they were ordered."""
LATELY = 70
"""Days ago from which on stories are told, and everything is written in the order of time."""
PLAIN = 2
"""Pairs at each bench stage of whom there is nothing to tell."""
FORGOTTEN, FORGOTTEN_SINCE = 4, timedelta(days=16)
"""Rechecks that nobody held, and for how long at least."""
TRIES = 300
Progress = Callable[[int], None]


def seed(database: Database, *, pairs: int, years: float, seed: int, told: Progress = lambda _: None) -> int:
    """`pairs` orders spread evenly over the last `years`; those whose way is not over yet stand open."""
    rng, until = np.random.default_rng(seed), clock.now()
    days = sorted(rng.uniform(0.01, years * 365.25, pairs).tolist(), reverse=True)
    made = 0
    for first in range(0, pairs, CHUNK):
        with database.writing() as db:
            filler = Filler(db)
            for each in days[first : first + CHUNK]:
                filler.add(int(rng.integers(2**32)), _opening(filler.house.calendar, until, each), until)
                made += 1
            filler.store()
        told(made)
    return made


def fill_demo(
    database: Database, storage: Storage, *, finished: int = FINISHED, seed: int = 417, told: Progress = lambda _: None
) -> None:
    """A year of finished pairs, and about sixty open ones over all stages that this lab has."""
    rng, until = np.random.default_rng(seed), clock.now()
    days = sorted(rng.uniform(*FINISHED_DAYS, finished).tolist(), reverse=True)
    with database.writing() as db:
        filler = Filler(db)
        here = filler.house
        for made, each in enumerate((each for each in days if each > LATELY), start=1):
            start = _opening(here.calendar, until, each)
            filler.add(_dice_that_end(here, rng, start, until), start, until)
            if made % 100 == 0:
                told(made)
        filler.store()
        _forget_rechecks(db, until)
    lately = [_opening(here.calendar, until, each) for each in days if each <= LATELY]
    over = [
        partial(_at_its_time, dice=_dice_that_end(here, rng, start, until), start=start, until=until)
        for start in lately
    ]
    plain = [_plain(here, rng, until, stage) for stage in STAGES if STAGES[stage].bench for _ in range(PLAIN)]
    tell(database, storage, [*stories.ALL, *over, *plain], rng)
    with database.writing() as db:
        note_lots(db, until)
    told(finished)


def _dice_that_end(here: House, rng: Generator, start: datetime, until: datetime) -> int:
    """A seed with which a pair that is ordered at `start` has ended by `until`."""
    while True:
        dice = int(rng.integers(2**32))
        if _walked(here, dice, start, until).state.end:
            return dice


def _walked(here: House, dice: int, start: datetime, until: datetime) -> Ledger:
    """A trial, of which nothing is kept."""
    return Walker(here, np.random.default_rng(dice), Rows({}), "", start).walk(until)


def _opening(calendar: WorkCalendar, until: datetime, days: float) -> datetime:
    """The first open minute of the lab from so many days before `until` on."""
    return calendar.add_minutes(until - timedelta(days=days), 1)


def _forget_rechecks(db: Session, until: datetime) -> None:
    """A few of the last that should have been held are still to be."""
    late = select(col(Recheck.id)).where(col(Recheck.due_on) < (until - FORGOTTEN_SINCE).date())
    latest = late.order_by(col(Recheck.due_on).desc(), col(Recheck.id)).limit(3 * FORGOTTEN)
    forgotten = list(db.execute(latest).scalars())[::3]
    db.execute(update(Recheck).where(col(Recheck.id).in_(forgotten)).values(state="open"))


def _plain(here: House, rng: Generator, until: datetime, stage: str) -> Story:
    """A pair that stands at `stage` now and is free to go on; it is written when its order's time has come.

    A pair is walked to its end to see how long after the order it is at the stage; the same dice then bring it there
    now. Where a lab skips the stage there is no such pair, and nothing to tell.
    """
    for _ in range(TRIES):
        dice = int(rng.integers(2**32))
        start = here.calendar.add_minutes(until - timedelta(days=120), 1)
        trial = _walked(here, dice, start, until)
        stay = next((stay for stay in trial.rows.of["stay"] if stay["stage"] == stage), None)
        if stay is None:
            continue
        before, there = (here.calendar.minutes_between(start, stay[name]) for name in ("entered_at", "left_at"))
        start = ago(here.calendar, until, before + round((there - before) * float(rng.uniform(0.1, 0.9))))
        state = _walked(here, dice, start, until).state
        if state.stage == stage and not state.holds:
            return partial(_at_its_time, dice=dice, start=start, until=until)
    return lambda _: iter(())


def _at_its_time(teller: Teller, dice: int, start: datetime, until: datetime) -> Telling:
    yield start
    filler = Filler(teller.db)
    filler.add(dice, start, until)
    filler.store()


class Filler:
    """Walks pairs into rows and writes them at once; numbers go on from what the database holds."""

    def __init__(self, db: Session) -> None:
        self.db, self.house, self.rows = db, house(db), rows_after(db)
        self.serials: dict[int, Serial] = {row.year: row for row in db.execute(select(Serial)).scalars()}

    def add(self, dice: int, start: datetime, until: datetime) -> None:
        """One pair, ordered at `start` and walked with these dice."""
        year = start.astimezone(ZoneInfo(self.house.zone)).year % 100
        row = self._serial(year)
        row.last = codes.next_serial(year, row.last)
        code = codes.pair_code(year, row.last)
        Walker(self.house, np.random.default_rng(dice), self.rows, code, start).walk(until)

    def _serial(self, year: int) -> Serial:
        row = self.serials.get(year)
        if row is None:
            row = self.serials[year] = Serial(year=year, last=0)
            self.db.add(row)
        return row

    def store(self) -> None:
        store(self.db, self.rows)
