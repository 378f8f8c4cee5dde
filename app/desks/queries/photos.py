"""A photo of a pair's thread for who may see the pair."""

from sqlmodel import Session

from app.bench import queries as bench
from app.bench.queries import Loaded, PhotoRow
from app.people.permissions import need
from app.people.rules import Viewer


def photo_of(db: Session, viewer: Viewer, code: str, photo_id: int) -> tuple[Loaded, PhotoRow]:
    loaded = bench.find(db, code, viewer)
    need(viewer, "see_pair", loaded.row["clinic_id"])
    return loaded, bench.photo(db, loaded.row["id"], photo_id)


def file_name(loaded: Loaded, photo: PhotoRow) -> str:
    return f"{loaded.state.code}-{photo.id}.jpg"
