"""Every room's tables in one place, for migrations and tests; and bringing a database up to them."""

import importlib
from pathlib import Path
from pkgutil import iter_modules
from typing import Any

from alembic.config import Config
from sqlalchemy import Connection
from sqlmodel import SQLModel

import app
from alembic import command
from app.database import Database, missing_guards
from app.outbox import Outbox
from app.settings import ROOT

__all__ = ["Outbox", "metadata", "migrate", "problems"]

for room in iter_modules(app.__path__):
    # A room without tables has neither file nor folder; the contracts know the list, so nothing is missed silently.
    here = Path(app.__path__[0]) / room.name
    if room.ispkg and ((here / "tables.py").exists() or (here / "tables" / "__init__.py").exists()):
        importlib.import_module(f"app.{room.name}.tables")

metadata = SQLModel.metadata


def migrate(database: Database, revision: str = "head") -> None:
    """Upgrades the schema; on SQLite foreign keys rest meanwhile, because a rebuilt table would cascade."""
    with database.engine.connect() as connection:
        driver: Any = connection.connection.driver_connection
        if database.sqlite:
            driver.execute("PRAGMA foreign_keys=OFF")  # inside a transaction SQLite ignores it
        with connection.begin():
            command.upgrade(alembic_config(connection), revision)
        if database.sqlite:
            broken = driver.execute("PRAGMA foreign_key_check").fetchall()
            driver.execute("PRAGMA foreign_keys=ON")
            if broken:
                raise RuntimeError(f"After migrating, {len(broken)} rows point at nothing: {broken[:3]}")


def alembic_config(connection: Connection) -> Config:
    config = Config(toml_file=str(ROOT / "pyproject.toml"))
    config.attributes["connection"] = connection
    return config


def problems(database: Database) -> list[str]:
    """What keeps this database from serving: an unfinished migration or a missing guard; empty when it is ready."""
    from alembic.runtime.migration import MigrationContext
    from alembic.script import ScriptDirectory

    with database.engine.connect() as connection:
        at = MigrationContext.configure(connection).get_current_revision()
        head = ScriptDirectory.from_config(alembic_config(connection)).get_current_head()
        found = [] if at == head else [f"The database is at migration {at}, this program wants {head}."]
        return found + [f"The trigger {name} is missing." for name in missing_guards(connection, metadata)]
