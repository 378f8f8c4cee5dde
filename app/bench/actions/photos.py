"""Keeping the photos that go along with an act."""

from collections.abc import Sequence

from sqlmodel import Session

from app.bench.actions.moving import Moved
from app.bench.tables import MovePhoto
from app.capture.reading.photos import Photo
from app.journal import actions as journal
from app.people.rules import Viewer
from app.storage import Storage


def attach(db: Session, storage: Storage, *, moved: Moved, photos: Sequence[Photo], by: Viewer) -> None:
    """Puts the photos to the move that was made just now, in its transaction. The very same photo is kept once."""
    different = {photo.sha256: photo for photo in photos}.values()
    if not different:
        return
    db.add_all(
        MovePhoto(
            pair_id=moved.pair_id,
            move_id=moved.move_id,
            file_key=storage.keep_with(db, photo.jpeg, "jpg"),
            small_key=storage.keep_with(db, photo.small, "jpg"),
            width_px=photo.width_px,
            height_px=photo.height_px,
            size_bytes=len(photo.jpeg),
            sha256=photo.sha256,
        )
        for photo in different
    )
    db.flush()
    facts = {"move": moved.move_id, "photos": len(different)}
    journal.write(db, "photos_added", by=by.staff_id, subject="pair", subject_id=moved.pair_id, facts=facts)
