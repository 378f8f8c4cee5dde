"""One transaction is kept whole or not at all, writers wait their turn, and every commit is noticed."""

import threading

import pytest
from sqlalchemy import text
from sqlmodel import select

from alembic import command
from app import clock
from app.all_tables import alembic_config
from app.database import Database
from app.journal import actions as journal
from app.journal.tables import Entry, Note
from app.people.tables import Clinic


def test_a_change_and_its_log_row_roll_back_together(database: Database) -> None:
    with pytest.raises(RuntimeError, match="on second thoughts"), database.writing() as db:
        db.add(Clinic(name="Harbour Steps"))
        journal.write(db, "clinic_added", by=1)
        db.flush()
        raise RuntimeError("on second thoughts")
    with database.reading() as db:
        assert db.exec(select(Clinic)).all() == []
        assert db.exec(select(Entry)).all() == []


def test_twenty_writers_at_once_lose_no_update(database: Database) -> None:
    with database.writing() as db:
        db.add(Clinic(id=1, name="Harbour Steps", transit_days=0))

    def add_a_day() -> None:
        with database.writing() as db:
            clinic = db.exec(select(Clinic).where(Clinic.id == 1).with_for_update()).one()
            clinic.transit_days += 1

    threads = [threading.Thread(target=add_a_day) for _ in range(20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with database.reading() as db:
        assert db.exec(select(Clinic.transit_days)).one() == 20


def test_a_commit_changes_the_mark_and_nothing_else_does(database: Database) -> None:
    first = database.change_mark()
    assert database.change_mark() == first
    with database.writing() as db:
        db.add(Clinic(name="Gull Lane"))
    second = database.change_mark()
    assert second != first
    assert database.change_mark() == second


def test_another_process_s_commit_changes_the_mark_too(database: Database, url: str) -> None:
    first = database.change_mark()
    other = Database(url)
    with other.writing() as db:
        db.add(Clinic(name="Gull Lane"))
    other.close()
    assert database.change_mark() != first


def test_instants_come_back_aware_and_naive_ones_are_refused(database: Database) -> None:
    at = clock.now()
    with database.writing() as db:
        db.add(Entry(at=at, what="read", facts={}))
    with database.reading() as db:
        assert db.exec(select(Entry.at)).one() == at
    with pytest.raises(Exception, match="timezone"), database.writing() as db:
        db.add(Entry(at=at.replace(tzinfo=None), what="read", facts={}))


def test_words_are_kept_where_they_can_be_erased_and_the_log_keeps_their_digest(database: Database) -> None:
    with database.writing() as db:
        note = journal.keep_words(db, "left heel sore since Monday", patient_id=7)
        journal.write(db, "noted", by=1, subject="patient", subject_id=7, note=note)
    with database.writing() as db:
        db.exec(select(Note)).one().words = None
    with database.reading() as db:
        entry = db.exec(select(Entry)).one()
        assert entry.note_digest == db.exec(select(Note.digest)).one()
        assert "sore" not in str(entry.facts)


def test_the_migrations_make_exactly_the_tables_of_the_code(database: Database) -> None:
    with database.engine.connect() as connection, connection.begin():
        command.check(alembic_config(connection))


def test_every_constraint_and_index_has_a_name(database: Database) -> None:
    if not database.sqlite:
        pytest.skip("names are given by the same metadata")
    with database.reading() as db:
        unnamed = db.execute(text("SELECT name FROM sqlite_master WHERE sql LIKE '%CONSTRAINT NULL%'")).all()
    assert unnamed == []
