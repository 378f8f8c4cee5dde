"""The process that reads one scan behind a wall: content on standard input, measures or fault as JSON on output.

A program of its own (`python -m app.capture.inside KIND BYTES SECONDS`), which imports little, because it starts anew
for each file. app/capture/reading/scans.py starts it.
"""

import json
import resource
import sys
from contextlib import suppress
from dataclasses import asdict
from typing import Any

from app.trade import footmesh


def main(kind: str, memory_bytes: int, cpu_seconds: int) -> None:
    """Reads after its own limits stand; beyond memory and time the system ends it."""
    forgo: dict[str, Any] = {"scipy": None}
    sys.modules.update(forgo)  # there only for tests: they are to read as a server reads
    import trimesh  # noqa: F401 - it opens its own files, which is over once the limits stand

    most = {
        resource.RLIMIT_AS: memory_bytes,
        resource.RLIMIT_CPU: cpu_seconds,
        resource.RLIMIT_CORE: 0,
        resource.RLIMIT_FSIZE: 0,
        resource.RLIMIT_NOFILE: 3,  # the standard streams: whatever a file refers to stays closed
    }
    for limit, value in most.items():
        with suppress(ValueError):  # a tighter one stands already, or (macOS) memory can't be limited
            resource.setrlimit(limit, (value, value))
    try:
        answer = asdict(footmesh.read(sys.stdin.buffer.read(), kind))
    except footmesh.NotAFootMesh as fault:
        answer = {"fault": str(fault)}
    json.dump(answer, sys.stdout)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
