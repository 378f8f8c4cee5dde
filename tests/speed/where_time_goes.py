"""How fast is the page of where time goes over twelve months, whole and filtered, against pandas from the raw moves?

pandas gets a head start: it reads the moves alone, counts by the clock instead of working time, knows nothing of what
is still open, draws no chart and no page. Ours is the page after a change, so that nothing drawn is kept, with the
months as the worker has put them together.
"""

import http.client
import sqlite3
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from statistics import median

import pandas as pd

from app import clock
from app.database import Database
from app.people import queries as people
from app.people.rules import Role, hash_of
from app.turnaround import actions, queries
from app.turnaround.queries import months
from app.turnaround.rules import first_month
from tests.speed import measured
from tests.speed.measured import Lab
from tests.speed.report import Line

TIMES = 5
PAGE = "/turnaround?months=12"
SOME = f"{PAGE}&clinic=2&way=cast"
MOVES = "SELECT pair_id, version, from_stage, to_stage, sides, done_at, together FROM move WHERE done_at >= ?"
SOME_MOVES = (
    "SELECT move.pair_id, move.version, from_stage, to_stage, sides, done_at, together FROM move "
    "JOIN pair ON pair.id = move.pair_id JOIN visit ON visit.id = move.visit_id "
    "WHERE done_at >= ? AND pair.clinic_id = 2 AND visit.way = 'cast'"
)


def turnaround(lab: Lab) -> Iterator[Line]:
    with measured.copy_of(lab, "turnaround") as copy:
        cookie = _managers(copy)
        with measured.opened(copy.file) as database:
            _put_together(database)
        stays = _stays(copy)
        with measured.pairtrail(copy.file) as server:
            whole = _median(lambda number: _page(copy, server.port, cookie, PAGE, number))
            some = _median(lambda number: _page(copy, server.port, cookie, SOME, number))
        theirs = _median(lambda _: _from_raw_moves(copy, MOVES))
        narrowed = _median(lambda _: _from_raw_moves(copy, SOME_MOVES))
    work = f"where time goes, 12 months, {stays:,} stays, after a change"
    yield Line(work, f"{whole * 1000:.0f} ms", f"pandas {theirs * 1000:.0f} ms", theirs / whole, 50)
    work = "the same of one clinic and one way of making"
    yield Line(work, f"{some * 1000:.0f} ms", f"pandas {narrowed * 1000:.0f} ms", narrowed / some, 10)


def _put_together(database: Database) -> None:
    """What the worker does in its own time, some at a time; when the last acts can no longer be taken back."""
    clock.set_shift(2 * months.RIPE)
    while True:
        with database.reading() as db:
            if not queries.waits_for_columns(db, people.counted(db).calendar_id):
                break
        actions.keep_months(database)
    clock.set_shift(timedelta())


def _median(taken: Callable[[int], float]) -> float:
    """Of some runs, after two that warm up."""
    return median([taken(number) for number in range(TIMES + 2)][2:])


def _stays(lab: Lab) -> int:
    with sqlite3.connect(lab.file) as db:
        (count,) = db.execute("SELECT count(*) FROM stay WHERE month >= ?", (_since(),)).fetchone()
    db.close()
    return int(count)


def _since() -> int:
    return first_month(clock.today("UTC"), 12)


def _managers(lab: Lab) -> str:
    """The measured session, given to a manager."""
    with sqlite3.connect(lab.file) as db:
        (manager,) = db.execute(
            "SELECT id FROM staff WHERE roles LIKE ? AND ended_at IS NULL", (f'%"{Role.MANAGER}"%',)
        ).fetchone()
        db.execute("UPDATE signed_in SET staff_id = ? WHERE token_hash = ?", (manager, hash_of(lab.cookie)))
    db.close()
    return f"pairtrail={lab.cookie}"


def _page(lab: Lab, port: int, cookie: str, path: str, number: int) -> float:
    """Seconds of one page, with something changed before, so that nothing is kept."""
    with sqlite3.connect(lab.file) as writer:
        writer.execute("UPDATE pair SET tray = ? WHERE id = 1", (number,))
    writer.close()
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    start = time.perf_counter()
    connection.request("GET", path, headers={"Cookie": cookie})
    answer = connection.getresponse()
    body = answer.read().decode()
    taken = time.perf_counter() - start
    connection.close()
    if answer.status != 200 or "To press" not in body:
        raise SystemExit(f"The page of where time goes answered {answer.status}.")
    return taken


def _from_raw_moves(lab: Lab, query: str) -> float:
    """Seconds to read the period's moves and have each stage's median and 90th percentile."""
    since = str(_since())
    start = time.perf_counter()
    with sqlite3.connect(lab.file) as db:
        moves = pd.read_sql_query(query, db, params=(f"{since[:4]}-{since[4:]}-01",), parse_dates=["done_at"])
    db.close()
    stays = []
    for side in "LR":
        mine = moves[moves["sides"].str.contains(side) & (moves["from_stage"] != moves["to_stage"])]
        mine = mine.sort_values(["pair_id", "version"])
        entered = mine.groupby("pair_id")["done_at"].shift()
        minutes = (mine["done_at"] - entered).dt.total_seconds() // 60
        stays.append(pd.DataFrame({"stage": mine["from_stage"], "minutes": minutes})[mine["together"] == 0].dropna())
    figures = pd.concat(stays).groupby("stage")["minutes"].quantile([0.5, 0.9])
    taken = time.perf_counter() - start
    if figures.empty:
        raise SystemExit("pandas found no stays to compare with.")
    return taken
