"""Asking a server: many clients at once by wrk, or one client that looks at the clock of each answer."""

import http.client
import re
import subprocess
import time
from collections.abc import Callable, Mapping, Sequence

SECONDS = 5
CLIENTS = 8


def requests_per_second(port: int, path: str, headers: Mapping[str, str]) -> float:
    """wrk's figure with 8 clients for 5 seconds, after one second of warming up; every answer must be a 2xx."""
    _wrk(port, path, headers, 1)
    told = _wrk(port, path, headers, SECONDS)
    if "Non-2xx" in told or "Socket errors" in told:
        raise SystemExit(f"Not every request to {path} was answered:\n{told}")
    found = re.search(r"Requests/sec:\s+([\d.]+)", told)
    if found is None:
        raise SystemExit(f"wrk said nothing to count:\n{told}")
    return float(found[1])


def _wrk(port: int, path: str, headers: Mapping[str, str], seconds: int) -> str:
    command = ["wrk", "-t1", f"-c{CLIENTS}", f"-d{seconds}s", "--timeout", "10s"]
    for name, value in headers.items():
        command += ["-H", f"{name}: {value}"]
    done = subprocess.run(
        [*command, f"http://127.0.0.1:{port}{path}"], capture_output=True, text=True, timeout=60, check=True
    )
    return done.stdout


def one_by_one(
    port: int, path: str, headers: Mapping[str, str], times: int, before: Callable[[int], str]
) -> list[float]:
    """Seconds of each answer for one client. `before` changes something and tells what the very next page must hold."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    taken = []
    for number in range(times + 20):
        wanted = before(number)
        start = time.perf_counter()
        connection.request("GET", path, headers=dict(headers))
        answer = connection.getresponse()
        body = answer.read().decode()
        taken.append(time.perf_counter() - start)
        if answer.status != 200 or wanted not in body:
            raise SystemExit(f"{path} answered {answer.status} without what was just changed: {wanted}")
    connection.close()
    return taken[20:]


def percentile(values: Sequence[float], share: float) -> float:
    """The nearest rank: a value that was really measured."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, max(0, -int(-share * len(ordered) // 1) - 1))]
