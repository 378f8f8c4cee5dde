"""Builds the web app: opens the database, includes each room's doors, answers the health checks."""

import gc
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import timedelta

import anyio.to_thread
from fastapi import FastAPI
from fastapi.responses import JSONResponse
from fastapi.staticfiles import StaticFiles

from app import all_tables, clock, metrics, web
from app.bench import pages as bench
from app.database import THREADS, Database
from app.demo import pages as demo
from app.desks import api as desks_api
from app.desks import pages as desks
from app.exchange import api as exchange_api
from app.exchange import pages as exchange
from app.exchange.actions import workers
from app.fitting import pages as fitting
from app.paperwork import pages as paperwork
from app.people import pages as people
from app.people import sessions
from app.settings import ROOT, Settings, version
from app.storage import Storage
from app.turnaround import api as turnaround_api
from app.turnaround import pages as turnaround
from app.turnaround.pages import returns as turnaround_returns
from app.watch import api as watch_api
from app.watch import pages as watch


def calm_the_collector() -> None:
    """The collector is the slowest request: what lives as long as the process is taken out of its sight."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 20)


def build(settings: Settings | None = None) -> FastAPI:
    settings = settings or Settings()
    if settings.clock_shift:
        clock.set_shift(timedelta(seconds=settings.clock_shift))

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        anyio.to_thread.current_default_thread_limiter().total_tokens = THREADS
        calm_the_collector()
        started = workers(app.state.database, settings) if settings.worker else []
        for worker in started:
            worker.start()
        yield
        for worker in started:
            await anyio.to_thread.run_sync(worker.stop)
        app.state.database.close()

    app = FastAPI(
        title="Pairtrail",
        version=version(),
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/v1/openapi.json",
        max_body_size=web.MAX_BODY,
        lifespan=lifespan,
    )
    app.state.settings = settings
    app.state.database = Database(settings.url)
    app.state.storage = Storage(settings.data / "files")
    web.install(app)
    sessions.install(app)
    metrics.install(app)
    for room in (
        desks_api,  # first, because the acts of a whole lab's stations come this way
        desks,
        demo,
        bench,
        exchange,
        exchange_api,
        fitting,
        people,
        paperwork,
        watch,
        watch_api,
        turnaround,
        turnaround_returns,
        turnaround_api,
    ):
        app.include_router(room.router)
    app.mount("/static", StaticFiles(directory=ROOT / "static"), name="static")

    @app.get("/health/live", include_in_schema=False)
    async def live() -> dict[str, str]:
        return {"status": "alive"}

    @app.get("/health/ready", include_in_schema=False)
    def ready() -> JSONResponse:
        found = all_tables.problems(app.state.database)
        return JSONResponse({"status": "not ready" if found else "ready", "problems": found}, 503 if found else 200)

    return app
