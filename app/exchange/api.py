"""What a monitoring program asks: how the server, the lab's queues and the work behind the pages stand.

Counts by kinds of things alone: no code, no label, no name of anybody is in them.
"""

import hashlib
from collections.abc import Iterator
from functools import lru_cache

from fastapi import APIRouter, Request, Response
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.exposition import CONTENT_TYPE_LATEST
from sqlmodel import Session

from app.bench import queries as bench
from app.bench.rules.stages import STAGES
from app.errors import NotFound
from app.exchange import queries
from app.metrics import PROCESS
from app.people.permissions import need
from app.people.sessions import Called, on_loopback
from app.settings import ROOT, version

router = APIRouter(include_in_schema=False)


@router.get("/metrics")
def metrics(request: Request, ask: Called) -> Response:
    """For programs on this machine, and for a manager's token; nobody else learns that it is here."""
    if not on_loopback(request):
        if not ask.token_hash:
            raise NotFound("There is nothing at this address.")
        with ask.reading() as (viewer, _):
            need(viewer, "see_metrics")
    state = request.app.state
    with state.database.reading() as db:
        figures = [*state.requests.collect(), _acts(state.database.counted), *_queues(db), *_behind(db), _build()]
    # A registry of this answer's own: two apps in one process share nothing.
    registry = CollectorRegistry()
    registry.register(_Told(figures))
    return Response(generate_latest(registry), headers={"content-type": CONTENT_TYPE_LATEST})


class _Told:
    """Figures that are known already, in the shape in which a registry asks for them."""

    def __init__(self, figures: list[Metric]) -> None:
        self.figures = figures

    def collect(self) -> list[Metric]:
        return self.figures


def _acts(counted: dict[str, int]) -> Metric:
    family = CounterMetricFamily("pairtrail_acts", "Acts on pairs that were kept.", labels=["process", "act"])
    for act, many in sorted(counted.items()):
        family.add_metric([PROCESS, act], many)
    return family


def _queues(db: Session) -> Iterator[Metric]:
    waiting = GaugeMetricFamily("pairtrail_open_pairs", "Open pairs by the stage they wait for.", labels=["stage"])
    parked = GaugeMetricFamily("pairtrail_parked_pairs", "Those of them that stand still.", labels=["stage"])
    counts = bench.counts(db, clinics=None)
    for stage in STAGES:
        count = counts.get(stage)
        waiting.add_metric([stage], count.open if count else 0)
        parked.add_metric([stage], count.parked if count else 0)
    yield from (waiting, parked)


def _behind(db: Session) -> Iterator[Metric]:
    """The outbox, the timetable, and whether any process sees to them."""
    rows = GaugeMetricFamily("pairtrail_outbox_rows", "What is to be done after a change.", labels=["state"])
    for state, many in queries.outbox_rows(db)._asdict().items():
        rows.add_metric([state], many)
    works = GaugeMetricFamily("pairtrail_worker_works", "1 while a process has the worker's turn.")
    works.add_metric([], float(queries.somebody_works(db)))
    ran = GaugeMetricFamily("pairtrail_job_ran_timestamp_seconds", "When a job last ran to its end.", labels=["job"])
    failing = GaugeMetricFamily("pairtrail_job_failing", "1 while a job's last run failed.", labels=["job"])
    failures = CounterMetricFamily("pairtrail_job_failures", "Runs of a job that failed.", labels=["job"])
    for run in queries.job_runs(db):
        if run.ran_at is not None:
            ran.add_metric([run.name], run.ran_at.timestamp())
        failing.add_metric([run.name], float(run.fault is not None))
        failures.add_metric([run.name], run.failures)
    yield from (rows, works, ran, failing, failures)


def _build() -> Metric:
    family = GaugeMetricFamily("pairtrail_build_info", "Always 1; its labels change with the program.", labels=BUILD)
    family.add_metric([version(), _digest()], 1)
    return family


BUILD = ("version", "build")


@lru_cache(maxsize=1)
def _digest() -> str:
    """Of everything that was written for this program, so that a change without a new version is seen, too."""
    digest = hashlib.sha256()
    for file in sorted([*ROOT.glob("app/**/*.py"), *ROOT.glob("templates/**/*.html"), ROOT / "uv.lock"]):
        digest.update(file.read_bytes())
    return digest.hexdigest()[:12]
