"""Reading a scan that came from outside: in a process of its own, with an end to its memory, time and open files.

What the file holds is arithmetic of app/trade/footmesh.py, app/capture/inside.py the process that does it; here is the
server's side of the wall.
"""

import json
import os
import subprocess
import sys
from typing import NamedTuple

import structlog
from anyio import CapacityLimiter, to_thread
from anyio.lowlevel import RunVar
from starlette.datastructures import UploadFile

from app.settings import ROOT
from app.trade import footmesh
from app.trade.footmesh import FootMesh, NotAFootMesh

MOST_BYTES = 60_000_000
"""Of one file: twice the largest binary mesh that is read, for those written as text."""


AT_ONCE = 2
"""Files read at the same time in one server process; others wait, and no page waits with them."""
log = structlog.get_logger()
_places: RunVar[CapacityLimiter] = RunVar("places of scan readers")


class Limits(NamedTuple):
    memory_bytes: int = 1_200_000_000
    cpu_seconds: int = 20
    wait_seconds: float = 60.0


USUAL = Limits()


class ScanFile(NamedTuple):
    """A scan as it came, and what it measures."""

    content: bytes
    mesh: FootMesh


async def read_upload(upload: UploadFile) -> ScanFile:
    """As `read`, from a form's file and in a thread apart from those of the pages."""
    try:
        places = _places.get()
    except LookupError:
        places = CapacityLimiter(AT_ONCE)
        _places.set(places)
    return await to_thread.run_sync(lambda: read(upload.filename or "", upload.file.read()), limiter=places)


def read(name: str, content: bytes, limits: Limits = USUAL) -> ScanFile:
    """The scan in a file called `name`; NotAFootMesh says what is wrong with it or that it breaks the limits."""
    kind = footmesh.kind_of(name)
    if len(content) > MOST_BYTES:
        raise NotAFootMesh(f"This file has {len(content):,} bytes; at most {MOST_BYTES:,} are taken.")
    inside = [sys.executable, "-m", "app.capture.inside", kind, *map(str, limits[:2])]
    # Nothing of the server's own environment goes along: it may hold a database's address.
    bare = {"OPENBLAS_NUM_THREADS": "1", "PATH": os.defpath}
    try:
        done = subprocess.run(  # noqa: S603 - the program is ours, the kind one of three words
            inside,
            input=content,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            cwd=ROOT,
            env=bare,
            timeout=limits.wait_seconds,
            check=True,
        )
    except (subprocess.TimeoutExpired, subprocess.CalledProcessError) as end:
        log.warning("scan not read", kind=kind, bytes=len(content), code=getattr(end, "returncode", None))
        raise NotAFootMesh(
            "This file takes more time or memory than a foot scan needs: it is damaged or far too fine. Export it "
            "again with fewer triangles."
        ) from None
    answer = json.loads(done.stdout)
    if "fault" in answer:
        raise NotAFootMesh(answer["fault"])
    return ScanFile(content, FootMesh(**answer))
