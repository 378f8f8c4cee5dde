"""Doing a request once however often it arrives: the key and its answer are kept in the act's own transaction."""

import hashlib
import json
from collections.abc import Callable, Mapping
from typing import Any

from sqlalchemy.dialects.postgresql import insert as insert_on_postgresql
from sqlalchemy.dialects.sqlite import insert as insert_on_sqlite
from sqlmodel import Session, col

from app import clock
from app.bench.tables import DoneKey
from app.errors import BadInput, KeyUsedForAnother


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
    insert = insert_on_sqlite if db.get_bind().dialect.name == "sqlite" else insert_on_postgresql
    # Two requests with one key at once: the second waits here until the first is kept or rolled back.
    claim = insert(DoneKey).values(
        staff_id=staff_id, key=key, fingerprint=fingerprint, status=status, answer={}, at=clock.now()
    )
    claimed = db.execute(claim.on_conflict_do_nothing().returning(col(DoneKey.key))).first()
    row = db.get_one(DoneKey, (staff_id, key))
    if claimed is None:
        if row.fingerprint != fingerprint:
            raise KeyUsedForAnother("This idempotency key was already used for a different request; take a new one.")
        return row.status, row.answer
    row.answer = act()
    return row.status, row.answer
