"""The whole app over a lab that stands on a Monday morning, its people's browsers, and time that can pass."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from app import clock
from app.bench import queries as bench
from app.database import Database
from app.watch import queries
from app.watch.queries import Raised
from tests.bench.conftest import Lab
from tests.desks.conftest import app, browser, house, program
from tests.house import FITS, House

__all__ = ["app", "browser", "house", "program"]

START = datetime(2027, 1, 11, 9, tzinfo=UTC)
"""A Monday, 9:00 in Lisbon, where winter time is UTC; the lab is open Monday to Friday, 8 to 17."""


class WatchedLab(Lab):
    """A lab whose clock is set, and the flags that stand in it."""

    def at_time(self, when: datetime) -> None:
        clock.set_shift(clock.shift() + (when - clock.now()))

    def pass_days(self, days: float) -> None:
        clock.set_shift(clock.shift() + timedelta(days=days))

    def ready(self, by: str = "clinician", **more: Any) -> str:
        """A pair that waits to be dispensed."""
        code = self.order(by=by, **more)
        self.walk(code, "dispense", by)
        return code

    def worn(self, by: str = "clinician", **more: Any) -> str:
        """A pair that has just been dispensed."""
        code = self.ready(by, **more)
        self.act(code, "dispense", by=by, facts=FITS["LR"])
        return code

    def raised(self, code: str = "") -> list[Raised]:
        with self.database.reading() as db:
            pair_id = bench.find(db, code, self.house.viewer("manager")).row["id"] if code else None
            return queries.raised(db, pair_id=pair_id)

    def kinds(self, code: str = "") -> set[str]:
        """The kinds of flags that stand and are not answered."""
        return {each.flag.kind for each in self.raised(code) if each.said is None}


@pytest.fixture
def lab(database: Database, house: House) -> WatchedLab:
    lab = WatchedLab(database, house)
    lab.at_time(START)
    return lab
