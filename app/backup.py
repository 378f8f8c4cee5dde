"""One file that holds the whole lab, the SQLite database and what lies in the store, and the way back from it."""

import re
import shutil
import sqlite3
import tempfile
import zipfile
from pathlib import Path

DATABASE, FILES = "pairtrail.db", "files"
_NAMES = re.compile(rf"{DATABASE}|{FILES}/[0-9a-f]{{2}}/[0-9a-f]{{32}}-[0-9a-f]{{16}}\.[a-z0-9]{{1,8}}")


class NotABackup(ValueError):
    """Says what is wrong with the file; nothing was changed."""


def save(data: Path, target: Path) -> None:
    """Writes a copy of the data folder's lab to `target` while the lab goes on working.

    The database is copied first: a file is in the store before any row names it, so none is missing from the copy.
    """
    with tempfile.TemporaryDirectory(dir=target.parent) as folder:
        copied = Path(folder) / DATABASE
        with sqlite3.connect(data / DATABASE) as live, sqlite3.connect(copied) as copy:
            live.backup(copy)
        live.close()
        copy.close()
        part = Path(folder) / "part.zip"
        with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.write(copied, DATABASE)
            for path in sorted((data / FILES).glob("*/*")):
                archive.write(path, path.relative_to(data).as_posix())
        part.replace(target)  # whoever looks never sees half a copy


def put_back(source: Path, data: Path) -> None:
    """Puts the lab of a copy in place of the data folder's; the present one is kept beside it."""
    data.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=data) as folder:
        fresh = Path(folder)
        _unpack(source, fresh)
        for name in (DATABASE, FILES):
            _aside(data / name)
        for rest in ("-wal", "-shm"):
            (data / f"{DATABASE}{rest}").unlink(missing_ok=True)
        (fresh / DATABASE).rename(data / DATABASE)
        if (fresh / FILES).exists():
            (fresh / FILES).rename(data / FILES)


def _unpack(source: Path, fresh: Path) -> None:
    try:
        with zipfile.ZipFile(source) as archive:
            names = archive.namelist()
            strange = [name for name in names if not _NAMES.fullmatch(name)]
            if strange or DATABASE not in names:
                raise NotABackup(f"{source} is no copy that `backup` made; nothing was changed.")
            archive.extractall(fresh)
    except (OSError, zipfile.BadZipFile) as fault:
        raise NotABackup(f"{source} can't be read as a copy ({fault}); nothing was changed.") from None
    try:
        with sqlite3.connect(fresh / DATABASE) as copy:
            sound = copy.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        copy.close()
    except sqlite3.DatabaseError:
        sound = False
    if not sound:
        raise NotABackup(f"The database in {source} is damaged; nothing was changed.")


def _aside(path: Path) -> None:
    """Of several restores the last one's predecessor is kept."""
    if not path.exists():
        return
    beside = path.with_name(f"before-restore-{path.name}")
    if beside.is_dir():
        shutil.rmtree(beside)
    path.replace(beside)
