"""Doing a request once however often it arrives: the key and its answer are kept in the act's own transaction."""

import hashlib
import json
from collections.abc import Callable, Mapping
from datetime import timedelta
from typing import Any

from sqlalchemy import bindparam, delete, select, tuple_, update
from sqlalchemy.dialects.postgresql import insert as insert_on_postgresql
from sqlalchemy.dialects.sqlite import insert as insert_on_sqlite
from sqlmodel import Session

from app import clock
from app.bench.tables import DoneKey
from app.errors import BadInput, KeyUsedForAnother

KEPT = timedelta(days=30)
AT_ONCE = 500
"""Keys dropped in one transaction: a few milliseconds."""
done_t = DoneKey.metadata.tables["done_key"]
# Each act asks these: they are built once, over the plain table.
_CLAIM = {
    "sqlite": insert_on_sqlite(done_t).on_conflict_do_nothing().returning(done_t.c.key),
    "postgresql": insert_on_postgresql(done_t).on_conflict_do_nothing().returning(done_t.c.key),
}
_MINE = (done_t.c.staff_id == bindparam("the_staff"), done_t.c.key == bindparam("the_key"))
_KEPT = select(done_t.c.fingerprint, done_t.c.status, done_t.c.answer).where(*_MINE)
_ANSWERED = update(done_t).where(*_MINE)


def once(
    db: Session,
    *,
    staff_id: int,
    key: str | None,
    body: Mapping[str, Any],
    act: Callable[[], dict[str, Any]],
    status: int = 200,
) -> tuple[int, dict[str, Any]]:
    """The answer of `act`, or the one it gave the first time this person sent `key` with this `body`.

    Only what was done is kept: a refusal rolls the key back with everything else and may be tried again.
    """
    if key is None:
        return status, act()
    if not 1 <= len(key) <= 200:
        raise BadInput("An idempotency key has 1 to 200 characters.", {"Idempotency-Key": f"It has {len(key)}."})
    fingerprint = hashlib.sha256(json.dumps(body, sort_keys=True, default=str).encode()).hexdigest()
    mine = {"the_staff": staff_id, "the_key": key}
    # Two requests with one key at once: the second waits here until the first is kept or rolled back.
    claim = {"staff_id": staff_id, "key": key, "fingerprint": fingerprint, "status": status, "answer": {}}
    claimed = db.execute(_CLAIM[db.get_bind().dialect.name], claim | {"at": clock.now()}).first()
    if claimed is None:
        before, status_then, answer = db.execute(_KEPT, mine).one()
        if before != fingerprint:
            raise KeyUsedForAnother("This idempotency key was already used for a different request; take a new one.")
        return status_then, answer
    answer = act()
    db.execute(_ANSWERED, mine | {"answer": answer})
    return status, answer


def drop_old_keys(db: Session) -> int:
    """Forgets some of the keys that are older than 30 days and returns how many; 0 when none is left."""
    key = (done_t.c.staff_id, done_t.c.key)
    old = select(*key).where(done_t.c.at < clock.now() - KEPT).order_by(done_t.c.at).limit(AT_ONCE)
    return len(db.execute(delete(done_t).where(tuple_(*key).in_(old)).returning(done_t.c.key)).all())
