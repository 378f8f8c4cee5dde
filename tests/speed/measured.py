"""The lab that is measured and the servers that are measured on it; what is asked of them is in the other modules.

Every server runs as one process of the same uvicorn settings, on a free port of this machine alone.
"""

import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, NamedTuple

from sqlalchemy import func, select
from sqlmodel import col

from app import clock
from app.all_tables import migrate
from app.bench.queries import pair_t
from app.bench.rules.stages import STAGES
from app.database import Database
from app.demo import volume
from app.demo.actions import open_lab
from app.people import queries as people
from app.people.rules import Role, hash_of, new_token
from app.people.tables import ApiToken, SignedIn
from app.settings import ROOT

A_YEAR = 20_000
"""Pairs a year unless a measure says otherwise: at every size the lab is equally busy, so that its past alone grows."""
HOME = Path(os.environ.get("PAIRTRAIL_DATA", ROOT / "var")) / "measure"


class Lab(NamedTuple):
    """An invented lab of `pairs` pairs in a file of its own, and a technician's cookie and token in it."""

    pairs: int
    file: Path
    cookie: str
    token: str
    stage: str
    """The bench queue with the most pairs: the page that is measured."""


def lab(pairs: int, a_year: int = A_YEAR) -> Lab:
    """Made once and kept below var/measure; later runs measure the same pairs, aged by the days between."""
    file = HOME / (f"{pairs}" if a_year == A_YEAR else f"{pairs}-a-year-{a_year}") / "pairtrail.db"
    if not file.exists():
        with _unfinished(file) as fresh, opened(fresh) as database:
            migrate(database)
            with database.writing() as db:
                open_lab(db)
            print(f"Making {pairs} invented pairs; this happens once.", file=sys.stderr, flush=True)
            volume.seed(database, pairs=pairs, years=pairs / a_year, seed=7)
    with opened(file) as database:
        migrate(database)
        return _let_in(database, pairs, file)


@contextmanager
def _unfinished(file: Path) -> Iterator[Path]:
    """A run that is broken off must not leave half a lab under the name of a whole one."""
    shutil.rmtree(file.parent, ignore_errors=True)
    file.parent.mkdir(parents=True)
    fresh = file.with_name("unfinished.db")
    yield fresh
    fresh.rename(file)


@contextmanager
def opened(file: Path) -> Iterator[Database]:
    database = Database(f"sqlite:///{file}")
    try:
        yield database
    finally:
        database.close()


def _let_in(database: Database, pairs: int, file: Path) -> Lab:
    cookie, token, now = new_token(), new_token(), clock.now()
    with database.writing() as db:
        technician = next(p.id for p in people.staff(db) if Role.TECHNICIAN in p.roles and p.ended_at is None)
        db.add(SignedIn(token_hash=hash_of(cookie), staff_id=technician, started_at=now, seen_at=now))
        db.add(ApiToken(token_hash=hash_of(token), staff_id=technician, made_at=now))
        bench = [key for key, stage in STAGES.items() if stage.bench]
        waiting = select(pair_t.c.stage).where(col(pair_t.c.stage).in_(bench)).group_by(pair_t.c.stage)
        stage = db.execute(waiting.order_by(func.count().desc())).scalars().first()
    return Lab(pairs, file, cookie, token, str(stage))


@contextmanager
def copy_of(lab: Lab, name: str) -> Iterator[Lab]:
    """The same lab in a file that may be changed and is thrown away afterwards."""
    folder = HOME / name
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    try:
        # All connections are closed, so the file alone is the whole database.
        shutil.copy(lab.file, folder / "pairtrail.db")
        yield lab._replace(file=folder / "pairtrail.db")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


class Server(NamedTuple):
    port: int
    pid: int

    def memory(self) -> float:
        """Resident megabytes of the process, from the system's own account (Linux; elsewhere not a number)."""
        with suppress(OSError):
            for line in Path(f"/proc/{self.pid}/status").read_text().splitlines():
                if line.startswith("VmRSS:"):
                    return int(line.split()[1]) / 1024
        return float("nan")


@contextmanager
def serving(app: str, file: Path, *, options: Sequence[str] = ()) -> Iterator[Server]:
    """One uvicorn process with `app` over the database in `file`, stopped at the end."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-m", "uvicorn", app, *options, "--host", "127.0.0.1", "--port", str(port)]
    command += ["--no-access-log", "--log-level", "warning", "--no-server-header"]
    environment: dict[str, Any] = os.environ | {"PAIRTRAIL_DATA": str(file.parent), "PAIRTRAIL_MEASURED": str(file)}
    with subprocess.Popen(command, cwd=ROOT, env=environment) as process:
        try:
            _wait_for(port, process)
            yield Server(port, process.pid)
        finally:
            process.terminate()


def pairtrail(file: Path) -> Any:
    return serving("app.main:build", file, options=["--factory"])


def _wait_for(port: int, process: "subprocess.Popen[bytes]") -> None:
    until = time.monotonic() + 30
    while time.monotonic() < until:
        if process.poll() is not None:
            raise SystemExit("A server to be measured did not start; see above.")
        with suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
            return
        time.sleep(0.05)
    raise SystemExit("A server to be measured did not answer within 30 seconds.")
