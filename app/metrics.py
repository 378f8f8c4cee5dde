"""How often each address is asked, and how long it takes: counted at the door, in this process alone.

Only the address' template is noted, never what stands in it. Nothing here knows a room; app/exchange tells the figures.
"""

import os
from bisect import bisect_left
from collections.abc import Iterator
from time import perf_counter

from fastapi import FastAPI
from prometheus_client.core import HistogramMetricFamily
from starlette.types import ASGIApp, Message, Receive, Scope, Send

BOUNDS = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0)
"""Upper edges in seconds."""
METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})
NOWHERE = "none"
"""The template of an address at which there is nothing."""
PROCESS = str(os.getpid())
"""Several server processes behind one address each answer for themselves: without this their figures would mix."""


class Requests:
    """Requests by template, method and status: how many took how long. Filled by the event loop alone."""

    def __init__(self) -> None:
        self.took: dict[tuple[str, str, int], list[float]] = {}
        """One count for each of BOUNDS, one for what took longer, and the sum of the seconds."""

    def add(self, route: str, method: str, status: int, seconds: float) -> None:
        key = route, method, status
        counts = self.took.get(key)
        if counts is None:
            counts = self.took[key] = [0.0] * (len(BOUNDS) + 2)
        counts[bisect_left(BOUNDS, seconds)] += 1
        counts[-1] += seconds

    def collect(self) -> Iterator[HistogramMetricFamily]:
        family = HistogramMetricFamily(
            "pairtrail_request_seconds",
            "Requests and how long they took, by the address' template, method and status.",
            labels=["process", "route", "method", "status"],
        )
        edges = [*(str(bound) for bound in BOUNDS), "+Inf"]
        for (route, method, status), counts in list(self.took.items()):
            buckets, so_far = [], 0.0
            for edge, many in zip(edges, counts, strict=False):
                so_far += many
                buckets.append((edge, so_far))
            family.add_metric([PROCESS, route, method, str(status)], buckets, sum_value=counts[-1])
        yield family


class Counting:
    """The outermost layer. It stands in every request's way, so it does little more than look at the clock twice."""

    def __init__(self, app: ASGIApp, requests: Requests) -> None:
        self.app = app
        self.requests = requests
        self._templates: dict[str, str] = {}
        """Of addresses seen before: a page that is answered again is not routed."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        start, status, root = perf_counter(), 500, scope.get("root_path", "")

        async def noting(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
            await send(message)

        try:
            await self.app(scope, receive, noting)
        finally:
            method = scope["method"]
            known = method if method in METHODS else "other"  # a client may send any word
            self.requests.add(self._template(scope, root), known, status, perf_counter() - start)

    def _template(self, scope: Scope, root: str) -> str:
        path: str = scope["path"]
        route = scope.get("route")
        if route is None:
            inside: str = scope.get("root_path", "")  # of a mounted folder, which is no route
            return inside if inside != root else self._templates.get(path, NOWHERE)
        template: str = getattr(route, "path_format", NOWHERE)
        if path not in self._templates:
            if len(self._templates) >= 2000:
                self._templates.clear()
            self._templates[path] = template
        return template


def install(app: FastAPI) -> None:
    """To be called after every other layer was added: the last one stands outermost."""
    app.state.requests = Requests()
    app.add_middleware(Counting, requests=app.state.requests)
