"""Runs migrations on the connection that app/all_tables.py hands over, and puts the log's guards back after each."""

from typing import Any, Literal

from alembic import context
from app.all_tables import metadata
from app.database import guard

connection = context.config.attributes["connection"]
if connection.dialect.name == "postgresql":
    # A migration that can't get its lock must not hold everyone else up.
    connection.exec_driver_sql("SET LOCAL lock_timeout = '5s'")


def plain(kind: str, item: Any, _autogen: Any) -> str | Literal[False]:
    """New migrations name SQLAlchemy's own types: an old one must not change when a library's wrapper does."""
    names = {"AutoString": "sa.String()", "UTCDateTime": "sa.DateTime(timezone=True)"}
    return names.get(type(item).__name__, False) if kind == "type" else False


context.configure(
    render_item=plain,
    connection=connection,
    target_metadata=metadata,
    render_as_batch=connection.dialect.name == "sqlite",
    compare_type=True,
)
context.run_migrations()
guard(connection, metadata)
