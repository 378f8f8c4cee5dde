"""The log keeps what it was told: every known way around an append-only table is refused by the database itself."""

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from app.all_tables import metadata, migrate, problems
from app.database import Database, append_only_tables, missing_guards
from app.journal import actions as journal

WAYS_AROUND = {
    "update": "UPDATE entry SET what = 'nothing happened'",
    "delete": "DELETE FROM entry",
    "a new key for an old row": "UPDATE entry SET id = 99",
}
SQLITE_ALONE = {
    "replace": "INSERT OR REPLACE INTO entry (id, at, what, facts) VALUES (1, '2026-01-01', 'forged', '{}')",
    "rowid": "UPDATE entry SET rowid = 99",
    "replace by update": "UPDATE OR REPLACE entry SET id = 1",
}
POSTGRESQL_ALONE = {
    "truncate": "TRUNCATE entry",
    "upsert": "INSERT INTO entry (id, at, what, facts) VALUES (1, now(), 'forged', '{}') "
    "ON CONFLICT (id) DO UPDATE SET what = excluded.what",
}


def entries(database: Database) -> list[tuple[int, str]]:
    with database.reading() as db:
        return [(row[0], row[1]) for row in db.execute(text("SELECT id, what FROM entry ORDER BY id"))]


@pytest.fixture
def with_two_entries(database: Database) -> Database:
    with database.writing() as db:
        journal.write(db, "signed_in", by=1)
        journal.write(db, "signed_out", by=1)
    return database


def test_every_way_around_the_log_is_refused(with_two_entries: Database) -> None:
    before = entries(with_two_entries)
    for name, statement in (WAYS_AROUND | (SQLITE_ALONE if with_two_entries.sqlite else POSTGRESQL_ALONE)).items():
        with pytest.raises(DBAPIError, match="append-only"), with_two_entries.writing() as db:
            db.execute(text(statement))
        assert entries(with_two_entries) == before, name


def test_a_missing_guard_is_noticed_and_put_back_by_migrating(database: Database) -> None:
    trigger = missing_guards_after_dropping(database)
    assert problems(database) == [f"The trigger {trigger} is missing."]
    migrate(database)
    assert problems(database) == []


def missing_guards_after_dropping(database: Database) -> str:
    with database.writing() as db:
        db.execute(text("DROP TRIGGER entry_refuses_update" + ("" if database.sqlite else " ON entry")))
        (missing,) = missing_guards(db.connection(), metadata)
    return missing


def test_moves_and_journal_are_the_append_only_tables() -> None:
    assert {table.name for table in append_only_tables(metadata)} == {"entry", "move"}
