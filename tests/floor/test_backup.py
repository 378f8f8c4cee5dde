"""A copy holds the whole lab, made while it works, and the way back loses nothing of either."""

import sqlite3
import zipfile
from pathlib import Path

import pytest

from app import backup
from app.storage import Storage

pytestmark = pytest.mark.anywhere


def lab(data: Path, *rows: str) -> str:
    """A data folder with a row for each word and one file in the store, whose key is returned."""
    data.mkdir(exist_ok=True)
    with sqlite3.connect(data / "pairtrail.db") as db:
        db.execute("PRAGMA journal_mode=WAL")
        db.execute("CREATE TABLE said (words TEXT)")
        db.executemany("INSERT INTO said VALUES (?)", [(row,) for row in rows])
    db.close()
    return Storage(data / "files").keep(b"solid foot", "stl")


def said(data: Path) -> list[str]:
    with sqlite3.connect(data / "pairtrail.db") as db:
        rows = [row[0] for row in db.execute("SELECT words FROM said")]
    db.close()
    return rows


def test_a_lab_comes_back_as_it_was_and_what_stood_there_is_kept_beside_it(tmp_path: Path) -> None:
    here, there = tmp_path / "here", tmp_path / "there"
    key, other = lab(here, "one", "two"), lab(there, "another lab")
    backup.save(here, tmp_path / "copy.zip")
    backup.put_back(tmp_path / "copy.zip", there)
    assert said(there) == ["one", "two"]
    assert Storage(there / "files").read(key) == b"solid foot"
    assert Storage(there / "before-restore-files").read(other) == b"solid foot"
    with sqlite3.connect(there / "before-restore-pairtrail.db") as before:
        assert before.execute("SELECT words FROM said").fetchone() == ("another lab",)
    before.close()


def test_a_copy_is_made_while_somebody_writes(tmp_path: Path) -> None:
    here = tmp_path / "here"
    lab(here, "kept")
    writer = sqlite3.connect(here / "pairtrail.db", isolation_level=None)
    writer.execute("BEGIN IMMEDIATE")
    writer.execute("INSERT INTO said VALUES ('not yet')")
    backup.save(here, tmp_path / "copy.zip")
    writer.execute("COMMIT")
    writer.close()
    backup.put_back(tmp_path / "copy.zip", tmp_path / "there")
    assert said(tmp_path / "there") == ["kept"]


@pytest.mark.parametrize("fault", ["no archive", "another archive", "leads out", "damaged database", "nothing there"])
def test_what_is_no_copy_changes_nothing(tmp_path: Path, fault: str) -> None:
    here, copy = tmp_path / "here", tmp_path / "copy.zip"
    key = lab(here, "kept")
    backup.save(here, copy)
    if fault == "no archive":
        copy.write_bytes(b"kept")
    elif fault == "nothing there":
        copy.unlink()
    else:
        with zipfile.ZipFile(copy, "w") as archive:
            inside = {"another archive": "letter.txt", "leads out": "../pairtrail.db"}.get(fault, "pairtrail.db")
            archive.writestr(inside, "no database at all" * 100)
    with pytest.raises(backup.NotABackup, match="nothing was changed"):
        backup.put_back(copy, here)
    assert said(here) == ["kept"]
    assert Storage(here / "files").read(key) == b"solid foot"
    assert sorted(path.name for path in here.iterdir() if path.is_dir()) == ["files"]
