"""How fast is the page of turnaround times over twelve months, against pandas from the raw moves?

pandas gets a head start: it reads the moves alone, counts by the clock instead of working time, and draws no page.
"""

import http.client
import sqlite3
import time
from collections.abc import Iterator
from statistics import median

import pandas as pd

from app import clock
from app.people.rules import Role, hash_of
from app.turnaround.rules import first_month
from tests.speed import measured
from tests.speed.measured import Lab
from tests.speed.report import Line

TIMES = 5
MOVES = "SELECT pair_id, version, from_stage, to_stage, sides, done_at, together FROM move WHERE done_at >= ?"


def turnaround(lab: Lab) -> Iterator[Line]:
    with measured.copy_of(lab, "turnaround") as copy:
        cookie = _managers(copy)
        with measured.pairtrail(copy.file) as server:
            ours = [_page(copy, server.port, cookie, number) for number in range(TIMES + 2)][2:]
        theirs = [_from_raw_moves(copy) for _ in range(TIMES)]
    mine, pandas = median(ours), median(theirs)
    work = f"turnaround page, 12 months, {lab.pairs} pairs, after a change"
    yield Line(work, f"{mine * 1000:.0f} ms", f"pandas {pandas * 1000:.0f} ms", pandas / mine, 50)


def _managers(lab: Lab) -> str:
    """The measured session, given to a manager."""
    with sqlite3.connect(lab.file) as db:
        (manager,) = db.execute(
            "SELECT id FROM staff WHERE roles LIKE ? AND ended_at IS NULL", (f'%"{Role.MANAGER}"%',)
        ).fetchone()
        db.execute("UPDATE signed_in SET staff_id = ? WHERE token_hash = ?", (manager, hash_of(lab.cookie)))
    db.close()
    return f"pairtrail={lab.cookie}"


def _page(lab: Lab, port: int, cookie: str, number: int) -> float:
    """Seconds of one page, with something changed before, so that nothing is kept."""
    with sqlite3.connect(lab.file) as writer:
        writer.execute("UPDATE pair SET tray = ? WHERE id = 1", (number,))
    writer.close()
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    start = time.perf_counter()
    connection.request("GET", "/turnaround?months=12", headers={"Cookie": cookie})
    answer = connection.getresponse()
    body = answer.read().decode()
    taken = time.perf_counter() - start
    connection.close()
    if answer.status != 200 or "To press" not in body:
        raise SystemExit(f"The turnaround page answered {answer.status}.")
    return taken


def _from_raw_moves(lab: Lab) -> float:
    """Seconds to read the period's moves and have each stage's median and 90th percentile."""
    since = str(first_month(clock.today("UTC"), 12))
    start = time.perf_counter()
    with sqlite3.connect(lab.file) as db:
        moves = pd.read_sql_query(MOVES, db, params=(f"{since[:4]}-{since[4:]}-01",), parse_dates=["done_at"])
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
