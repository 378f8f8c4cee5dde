"""How fast is the queue page, unchanged and just after a change, against the raw limit and Django's admin list?"""

import os
import sqlite3
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from app.settings import ROOT
from tests.speed import load, measured
from tests.speed.measured import Lab
from tests.speed.report import Line

CHANGES = 300


def unchanged(lab: Lab) -> Iterator[Line]:
    """Nothing is changed meanwhile; requests a second of eight clients, and what the process holds after them."""
    with measured.pairtrail(lab.file) as server:
        ours = load.requests_per_second(server.port, *_page(lab))
        memory = server.memory()
    with measured.serving("tests.speed.rivals:app", lab.file) as server:
        raw = load.requests_per_second(server.port, f"/queue/{lab.stage}", {})
    with _admin(lab) as (server, path, headers):
        django = load.requests_per_second(server.port, path, headers)
    work = f"queue page, {lab.pairs} pairs, unchanged"
    yield Line(work, f"{ours:.0f}/s", f"raw limit {raw:.0f}/s", ours / raw, 1)
    yield Line(work, f"{ours:.0f}/s", f"Django's admin list {django:.0f}/s", ours / django, 40)
    yield Line(f"memory of one process, {lab.pairs} pairs", f"{memory:.0f} MB", "250 MB", memory / 250, 1, most=True)


def changed(lab: Lab) -> Iterator[Line]:
    """One client; before each request another process's tray change is committed, and the page must show it."""
    with measured.copy_of(lab, "changed") as copy:
        with measured.pairtrail(copy.file) as server:
            ours = _after_changes(copy, server.port, *_page(copy))
        with measured.serving("tests.speed.rivals:app", copy.file) as server:
            raw = _after_changes(copy, server.port, f"/queue/{copy.stage}", {})
        with _admin(copy) as (server, path, headers):
            django = _after_changes(copy, server.port, path, headers, words="{}")
    work = f"queue page, {lab.pairs} pairs, after a change"
    mine, limit, theirs = (len(taken) / sum(taken) for taken in (ours, raw, django))
    yield Line(work, f"{mine:.0f}/s", f"raw limit {limit:.0f}/s", mine / limit, 0.25)
    yield Line(work, f"{mine:.0f}/s", f"Django's admin list {theirs:.0f}/s", mine / theirs, 20)
    p99, p50 = load.percentile(ours, 0.99), load.percentile(ours, 0.5)
    yield Line(work, f"p99 {p99 * 1000:.2f} ms", f"p50 {p50 * 1000:.2f} ms", p99 / p50, 3, most=True)


def growth(small: Lab, large: Lab) -> Iterator[Line]:
    """The same busy lab with a tenth of the past: one client, each request after a change, so that nothing is kept."""
    taken = {}
    for lab in (small, large):
        with measured.copy_of(lab, "growth") as copy, measured.pairtrail(copy.file) as server:
            taken[lab.pairs] = load.percentile(_after_changes(copy, server.port, *_page(copy)), 0.5)
    before, after = taken[small.pairs], taken[large.pairs]
    work = f"queue page, from {small.pairs} to {large.pairs} pairs"
    yield Line(work, f"{after * 1000:.2f} ms", f"{before * 1000:.2f} ms", after / before, 1.2, most=True)


def _page(lab: Lab) -> tuple[str, Mapping[str, str]]:
    return f"/queue/{lab.stage}", {"Cookie": f"pairtrail={lab.cookie}"}


def _after_changes(lab: Lab, port: int, path: str, headers: Mapping[str, str], words: str = "tray {}") -> list[float]:
    """The first pair of the queue is put into another tray before each request."""
    with sqlite3.connect(lab.file, isolation_level=None) as writer:
        first = "SELECT id FROM pair WHERE stage = ? AND not_before IS NULL ORDER BY due_on, since, id LIMIT 1"
        (pair,) = writer.execute(first, (lab.stage,)).fetchone()

        def change(number: int) -> str:
            tray = 500_000 + number
            writer.execute("UPDATE pair SET tray = ? WHERE id = ?", (tray, pair))
            return words.format(tray)

        taken = load.one_by_one(port, path, headers, CHANGES, change)
    writer.close()
    return taken


@contextmanager
def _admin(lab: Lab) -> Iterator[tuple[Any, str, Mapping[str, str]]]:
    """Django's server, the address of the same queue in its list, and the cookie of someone signed in to it."""
    environment = os.environ | {"PAIRTRAIL_MEASURED": str(lab.file)}
    own = lab.file.with_name("django.db")
    own.unlink(missing_ok=True)
    command = [sys.executable, "-m", "tests.speed.admin"]
    key = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=True).stdout.strip()
    with measured.serving("tests.speed.admin:app", lab.file) as server:
        yield server, f"/admin/admin/pair/?stage__exact={lab.stage}", {"Cookie": f"sessionid={key}"}
    own.unlink()
