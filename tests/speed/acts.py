"""How fast are acts of sixteen stations through the API, against a bare loop that writes the same rows, all durable?"""

import http.client
import json
import sqlite3
import time
from collections import deque
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, NamedTuple

from tests.speed import measured
from tests.speed.load import percentile
from tests.speed.measured import Lab
from tests.speed.report import Line

STATIONS = 16
MOST = 1200
WARMING = 20
"""Acts before the clock starts: a server's very first ones build the statements that all others send."""
WALKED = ("pour", "carve", "correct", "press", "mill", "grind", "cover")
"""Stages whose advance needs nothing but the tap."""
Waiting = deque[tuple[str, str]]


class Done(NamedTuple):
    """One act that was answered: the body sent, its key, the answer, and the seconds it took."""

    code: str
    body: dict[str, Any]
    key: str
    answer: dict[str, Any]
    seconds: float


def acts(lab: Lab) -> Iterator[Line]:
    with measured.copy_of(lab, "acts") as copy:
        before = _moves(copy.file)
        with measured.pairtrail(copy.file) as server:
            waiting = _waiting(copy)
            warmed = _walk(copy, server.port, waiting, WARMING)
            done, seconds = _all_stations(copy, server.port, waiting)
            again = [_send(_connection(server.port), copy.token, each.code, each.body, each.key) for each in done[:50]]
        written = _moves(copy.file) - before - len(warmed)
        doubled = sum(one.answer != each.answer for one, each in zip(again, done, strict=False))
    with measured.copy_of(lab, "acts") as copy:
        bare = _bare_loop(copy.file, [each.code for each in done])
    rate, limit = len(done) / seconds, len(done) / bare
    taken = [each.seconds for each in done]
    work = f"act through the API, {STATIONS} stations, durable"
    yield Line(work, f"{rate:.0f}/s", f"bare sqlite3 loop {limit:.0f}/s", rate / limit, 1 / 6)
    p99, p50 = percentile(taken, 0.99), percentile(taken, 0.5)
    yield Line(work, f"p99 {p99 * 1000:.1f} ms", f"p50 {p50 * 1000:.1f} ms", p99 / p50, 4, most=True)
    lost = abs(written - len(done)) + doubled
    yield Line(work, f"{written} moves written", f"{len(done)} acts answered, 50 sent again", lost, 0, most=True)


def _waiting(lab: Lab) -> Waiting:
    """The pairs whose next stages ask for no more than a tap."""
    marks = ", ".join("?" * len(WALKED))
    with sqlite3.connect(lab.file) as db:
        free = f"stage IN ({marks}) AND parked_on IS NULL AND place = 'lab'"
        rows = db.execute(f"SELECT code, stage FROM pair WHERE {free} ORDER BY id", WALKED).fetchall()
    db.close()
    return deque(rows)


def _all_stations(lab: Lab, port: int, waiting: Waiting) -> tuple[list[Done], float]:
    start = time.perf_counter()
    with ThreadPoolExecutor(STATIONS) as pool:
        all_done = list(pool.map(lambda _station: _walk(lab, port, waiting, MOST // STATIONS), range(STATIONS)))
    seconds = time.perf_counter() - start
    return [each for one in all_done for each in one], seconds


def _walk(lab: Lab, port: int, waiting: Waiting, most: int) -> list[Done]:
    """One station takes the next pair and walks it on until its stage asks for more than a tap, then the next."""
    connection = _connection(port)
    mine: list[Done] = []
    while len(mine) < most:
        try:
            code, stage = waiting.popleft()
        except IndexError:
            break
        while stage in WALKED:
            key = f"{code}-{stage}-{len(mine)}"
            mine.append(_send(connection, lab.token, code, {"act": "advance", "from_stage": stage}, key))
            stage = mine[-1].answer["stage"]
    connection.close()
    return mine


def _connection(port: int) -> http.client.HTTPConnection:
    return http.client.HTTPConnection("127.0.0.1", port, timeout=30)


def _send(connection: http.client.HTTPConnection, token: str, code: str, body: dict[str, Any], key: str) -> Done:
    headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json", "Idempotency-Key": key}
    start = time.perf_counter()
    connection.request("POST", f"/api/v1/pairs/{code}/acts", json.dumps(body), headers)
    answer = connection.getresponse()
    told = json.loads(answer.read())
    seconds = time.perf_counter() - start
    if answer.status != 200:
        raise SystemExit(f"{code} was refused ({answer.status}): {told}")
    return Done(code, body, key, told, seconds)


def _moves(file: Path) -> int:
    with sqlite3.connect(file) as db:
        (count,) = db.execute("SELECT count(*) FROM move").fetchone()
    db.close()
    return int(count)


def _bare_loop(file: Path, codes: list[str]) -> float:
    """Seconds to write, one transaction an act, the key, a copy of the last move, two stays and the pair again."""
    db = sqlite3.connect(file, isolation_level=None)
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON"):
        db.execute(f"PRAGMA {pragma}")
    columns = [row[1] for row in db.execute("PRAGMA table_info(move)") if row[1] not in ("id", "version")]
    last = ", ".join(columns)
    move = (
        f"INSERT INTO move (version, {last}) SELECT version + 1000, {last} FROM move "
        "WHERE pair_id = ? ORDER BY id DESC LIMIT 1"
    )
    stay = (
        "INSERT INTO stay (calendar_id, move_id, side, pair_id, stage, month, minutes, entered_at, left_at) "
        "VALUES (1, ?, ?, ?, 'press', 202611, 95, '2026-11-24 09:00:00.000000', '2026-11-24 11:00:00.000000')"
    )
    start = time.perf_counter()
    for number, code in enumerate(codes):
        db.execute("BEGIN IMMEDIATE")
        (pair,) = db.execute("SELECT id FROM pair WHERE code = ?", (code,)).fetchone()
        key = (1, f"bare-{number}", "f" * 64, 200, json.dumps({"code": code}), "2026-11-24 11:00:00.000000")
        db.execute("INSERT INTO done_key (staff_id, key, fingerprint, status, answer, at) VALUES (?,?,?,?,?,?)", key)
        made = db.execute(move, (pair,)).lastrowid
        db.executemany(stay, [(made, "L", pair), (made, "R", pair)])
        db.execute("UPDATE pair SET version = version + 1, since = ?, tray = tray WHERE id = ?", (key[5], pair))
        db.execute("COMMIT")
    seconds = time.perf_counter() - start
    db.close()
    return seconds
