"""How the rooms reach the database: one reading and one writing block, the same on SQLite and PostgreSQL.

It also guards append-only tables and tells whether anything changed since the last look. It knows no table by name;
rooms mark theirs with `info=APPEND_ONLY`.
"""

import fcntl
import secrets
import threading
from collections import Counter
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Generic, TypeVar

from sqlalchemy import Connection, Engine, MetaData, Table, UniqueConstraint, create_engine, event, inspect, text
from sqlmodel import Session, SQLModel

APPEND_ONLY = {"append_only": True}
COUNTED = "counted"
THREADS = 4
"""Threads that run page functions; the pool is larger, so that no thread ever waits for a connection."""

T = TypeVar("T")

SQLModel.metadata.naming_convention = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


class Database:
    """An open database. `url` is SQLAlchemy's; on SQLite a lock file beside it orders the writers of all processes."""

    def __init__(self, url: str) -> None:
        self.engine = create_engine(
            url,
            pool_size=THREADS * 2,
            max_overflow=THREADS * 2,
            hide_parameters=True,  # an error's text must not carry what a person typed
        )
        self.sqlite = self.engine.dialect.name == "sqlite"
        self._turn = threading.Lock()
        self._lock_file: Any = None
        self._watcher: Any = None
        self._watch = ""
        self._watching = threading.Lock()
        self.counted: Counter[str] = Counter()
        """How often each word of `session.info[COUNTED]` was in a transaction of this process that was kept."""
        self._counting = threading.Lock()
        if self.sqlite:
            _teach_sqlite(self.engine)
            self._lock_file = Path(f"{self.engine.url.database}.lock").open("w")  # noqa: SIM115 - held as long as self
        self._writers = self.engine.execution_options(writes=True)

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """One consistent view; nothing written in it is kept."""
        with Session(self.engine, expire_on_commit=False) as session:
            yield session

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """One transaction: all of it is kept when the block ends well, nothing when it raises."""
        with self._one_writer(), Session(self._writers, expire_on_commit=False) as session:
            with session.begin():
                yield session
            with self._counting:
                self.counted.update(session.info.get(COUNTED, ()))

    def change_mark(self) -> str:
        """A text that differs after any commit of any process; cheap enough to ask on every request.

        SQLite: `PRAGMA data_version` on a connection that never writes. PostgreSQL: the snapshot, because a lower id
        can commit later than a higher one. Both mean something on one connection alone, so the mark names it, too.
        """
        query = "PRAGMA data_version" if self.sqlite else "SELECT pg_current_snapshot()::text"
        with self._watching:
            if self._watcher is None:
                self._watcher, self._watch = self._open_watcher(), secrets.token_hex(6)
            try:
                # Straight to the driver: asked on every request, SQLAlchemy's way would cost ten times the answer.
                mark = self._watcher.driver_connection.execute(query).fetchone()[0]
            except Exception:
                # A server that was started again has lost this connection; the next request opens another.
                self._end_watcher()
                raise
            return f"{self._watch} {mark}"

    def _open_watcher(self) -> Any:
        """A connection that holds no view of its own, so that it sees each commit."""
        watcher: Any = self.engine.raw_connection()
        if not self.sqlite:
            watcher.driver_connection.autocommit = True
        return watcher

    def _end_watcher(self) -> None:
        if self._watcher is not None:
            self._watcher.invalidate()  # it is unlike the others and must not go back among them
            self._watcher = None

    def close(self) -> None:
        self._end_watcher()
        self.engine.dispose()
        if self._lock_file is not None:
            self._lock_file.close()

    @contextmanager
    def _one_writer(self) -> Iterator[None]:
        # SQLite's own busy handler is unfair and slow under load: writers queue here, then at the lock file.
        if not self.sqlite:
            yield
            return
        with self._turn:
            fcntl.flock(self._lock_file, fcntl.LOCK_EX)
            try:
                yield
            finally:
                fcntl.flock(self._lock_file, fcntl.LOCK_UN)


class Kept(Generic[T]):
    """What was worked out from the database, good until the next commit of any process; at most `most` values."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: tuple[str, dict[Hashable, T]] = ("", {})

    def get(self, mark: str, key: Hashable, make: Callable[[], T]) -> T:
        """The value kept under `mark`, or `make()`.

        `mark` is `change_mark` as it was before anything was read: then no value is older than its mark says.
        """
        values = self._under(mark, key)
        if key not in values:
            values[key] = make()
        return values[key]

    def put(self, mark: str, key: Hashable, value: T) -> None:
        self._under(mark, key)[key] = value

    def find(self, mark: str, key: Hashable) -> T | None:
        under, values = self._kept
        return values.get(key) if under == mark else None

    def __contains__(self, key: Hashable) -> bool:
        """Whether there is such a value under whichever mark: if not, nobody need ask for the mark."""
        return key in self._kept[1]

    def _under(self, mark: str, key: Hashable) -> dict[Hashable, T]:
        """The values kept under `mark`, with room for `key`."""
        under, values = self._kept
        if under != mark or (len(values) >= self._most and key not in values):
            # Threads with an earlier mark go on with the values of theirs.
            values = {}
            self._kept = (mark, values)
        return values


def _teach_sqlite(engine: Engine) -> None:
    @event.listens_for(engine, "connect")
    def on_connect(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # SQLAlchemy's begin below decides, not the driver
        for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", "busy_timeout=10000"):
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def on_begin(connection: Connection) -> None:
        # A deferred transaction that writes later can lose an update; a writer takes its lock at once.
        writes = connection.get_execution_options().get("writes")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def append_only_tables(metadata: MetaData) -> list[Table]:
    return [table for table in metadata.sorted_tables if table.info.get("append_only")]


def guard(connection: Connection, metadata: MetaData) -> None:
    """Puts the refusing triggers on every append-only table, replacing older ones; run after each migration."""
    there = set(inspect(connection).get_table_names())
    for table in append_only_tables(metadata):
        if table.name in there:
            for statement in _guards(table, connection.dialect.name):
                connection.execute(text(statement))


def missing_guards(connection: Connection, metadata: MetaData) -> list[str]:
    """Names of the triggers that should stand and do not; empty when the log is safe."""
    if connection.dialect.name == "sqlite":
        found = connection.execute(text("SELECT name FROM sqlite_master WHERE type = 'trigger'"))
    else:
        found = connection.execute(text("SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D'"))
    names = set(found.scalars())
    wanted = [name for table in append_only_tables(metadata) for name in _names(table, connection.dialect.name)]
    return [name for name in wanted if name not in names]


def _names(table: Table, dialect: str) -> list[str]:
    refused = ("update", "delete", "replace") if dialect == "sqlite" else ("update", "truncate")
    return [f"{table.name}_refuses_{what}" for what in refused]


def _guards(table: Table, dialect: str) -> list[str]:
    name = table.name
    if dialect == "sqlite":
        # INSERT OR REPLACE deletes the old row without firing its delete trigger: refuse any taken key beforehand.
        keys = [[column.name for column in table.primary_key]]
        keys += [[c.name for c in key.columns] for key in table.constraints if isinstance(key, UniqueConstraint)]
        taken = " OR ".join(
            f"EXISTS (SELECT 1 FROM {name} WHERE " + " AND ".join(f"{c} = NEW.{c}" for c in key) + ")" for key in keys
        )
        refuse = f"BEGIN SELECT RAISE(ABORT, '{name} is append-only'); END"
        whens = {"update": "UPDATE", "delete": "DELETE", "replace": "INSERT"}
        return [
            statement
            for trigger, (what, verb) in zip(_names(table, dialect), whens.items(), strict=True)
            for statement in (
                f"DROP TRIGGER IF EXISTS {trigger}",
                f"CREATE TRIGGER {trigger} BEFORE {verb} ON {name} "
                + (f"WHEN {taken} {refuse}" if what == "replace" else refuse),
            )
        ]
    update, truncate = _names(table, dialect)
    return [
        "CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION '% is append-only', TG_TABLE_NAME; END $$",
        f"DROP TRIGGER IF EXISTS {update} ON {name}",
        f"CREATE TRIGGER {update} BEFORE UPDATE OR DELETE ON {name} FOR EACH ROW EXECUTE FUNCTION refuse_change()",
        f"DROP TRIGGER IF EXISTS {truncate} ON {name}",
        f"CREATE TRIGGER {truncate} BEFORE TRUNCATE ON {name} FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()",
    ]
