"""Where scans and attachments lie: a local folder, names made here, contents never changed once written."""

import hashlib
import secrets
from pathlib import Path

from sqlalchemy import event
from sqlmodel import Session

from app.errors import NotFound


class Storage:
    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def keep(self, content: bytes, kind: str) -> str:
        """Writes `content` and returns its key: a random name, the digest's first characters and `kind` ("stl").

        Nothing a person typed goes into the name, so no name can lead out of the folder.
        """
        digest = hashlib.sha256(content).hexdigest()[:16]
        key = f"{secrets.token_hex(16)}-{digest}.{kind}"
        path = self._path(key)
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_suffix(".part")
        part.write_bytes(content)
        part.rename(path)  # a reader never sees half a file
        return key

    def keep_with(self, db: Session, content: bytes, kind: str) -> str:
        """As `keep`, for what belongs to this transaction: if it comes to nothing, the file is gone again."""
        key = self.keep(content, kind)
        event.listen(db, "after_rollback", lambda _session: self.drop(key))
        return key

    def read(self, key: str) -> bytes:
        try:
            return self._path(key).read_bytes()
        except FileNotFoundError:
            raise NotFound("This file is no longer in the store.") from None

    def drop(self, key: str) -> None:
        """For what was kept in a transaction that came to nothing."""
        self._path(key).unlink(missing_ok=True)

    def _path(self, key: str) -> Path:
        return self.folder / key[:2] / key
