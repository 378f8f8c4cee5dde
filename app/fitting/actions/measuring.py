"""Keeping how a wearer stands: measures of each foot, never changed but replaced, and the photos they are marked in."""

from collections.abc import Mapping
from typing import Any

from sqlmodel import Session

from app import clock
from app.bench import queries as pairs
from app.bench.queries import Loaded
from app.capture.reading.photos import Photo
from app.errors import BadInput, MovedOn
from app.fitting.queries import stance as queries
from app.fitting.queries.stance import MeasureRow
from app.fitting.rules import stance
from app.fitting.rules.stance import Frame
from app.fitting.tables import FootMeasure, StancePhoto
from app.journal import actions as journal
from app.people.permissions import need
from app.people.rules import Viewer
from app.storage import Storage


def measure(
    db: Session,
    *,
    code: str,
    kind: str,
    said: Mapping[str, str],
    by: Viewer,
    with_devices: bool = False,
    photo_id: int | None = None,
    replaces_id: int | None = None,
    units: str = "metric",
) -> list[int]:
    """Keeps what `said` holds of each side, by field as in `rules.stance.read`, and returns the new rows' ids.

    `replaces_id` is the measure that this one corrects, of the same foot. The very same again writes nothing.
    """
    loaded = may_measure(db, code=code, by=by, lock=True)
    stance.check_kind(kind, with_devices)
    photo = queries.photo(db, loaded.row["id"], photo_id) if photo_id else None
    if photo and photo.with_devices != with_devices:
        raise BadInput("This photo shows the wearer the other way, with or without devices.")
    holding = queries.holding(db, loaded.row["id"], kind, with_devices)
    replaced = _replaced(db, loaded, replaces_id, kind, with_devices) if replaces_id else None
    rows = []
    for side, found in _read(kind, replaced.side if replaced else loaded.state.all_sides, said, units, photo).items():
        own = [row for row in holding if row.side == side]
        marked_in = photo.id if photo and "leg" in found else None
        # Of a photo each foot has one measure: marked anew in the same photo, it corrects the one before.
        corrects = replaced or next((row for row in own if marked_in and row.photo_id == marked_in), None)
        if not _is_said(found, corrects, own[-1] if own else None, by.zone):
            rows.append(_row(loaded, by, kind, side, with_devices, found, marked_in, corrects))
    db.add_all(rows)
    db.flush()
    for made in rows:
        _journal(db, made, by)
    return [made.id for made in rows]


def _is_said(found: Mapping[str, Any], corrects: MeasureRow | None, latest: MeasureRow | None, zone: str) -> bool:
    """A correction that changes nothing, or what was measured last, said again on the same day."""
    if corrects:
        return corrects.found == found
    return latest is not None and latest.found == found and latest.day(zone) == clock.today(zone)


def _row(
    loaded: Loaded,
    by: Viewer,
    kind: str,
    side: str,
    with_devices: bool,
    found: dict[str, Any],
    marked_in: int | None,
    corrects: MeasureRow | None,
) -> FootMeasure:
    return FootMeasure(
        pair_id=loaded.row["id"],
        visit_id=loaded.row["visit_id"],
        kind=kind,
        side=side,
        with_devices=with_devices,
        found=found,
        photo_id=marked_in,
        staff_id=by.staff_id,
        at=clock.now(),
        replaces_id=corrects.id if corrects else None,
    )


def may_measure(db: Session, *, code: str, by: Viewer, lock: bool = False) -> Loaded:
    """The pair, if this person may measure its wearer and this is the time for it."""
    loaded = pairs.find(db, code, by, lock=lock)
    need(by, "measure_stance", loaded.row["clinic_id"])
    stance.check_measured_now(loaded.state.code, loaded.state.stage, loaded.state.end)
    return loaded


def _replaced(db: Session, loaded: Loaded, replaces_id: int, kind: str, with_devices: bool) -> MeasureRow:
    row = queries.measure_of(db, loaded.row["id"], replaces_id)
    if (row.kind, row.with_devices) != (kind, with_devices):
        raise BadInput("A correction says the same thing of the same foot anew; this is another measure.")
    if row.replaced:
        raise MovedOn("This measure was corrected already; correct the one that holds now.")
    return row


def _read(
    kind: str, sides: str, said: Mapping[str, str], units: str, photo: StancePhoto | None
) -> dict[str, dict[str, Any]]:
    wrong: dict[str, str] = {}
    frame = Frame(photo.width_px, photo.height_px) if photo else None
    read = {side: stance.read(kind, side, said, units, frame, wrong) for side in sides}
    found = {side: each for side, each in read.items() if each is not None}
    if not found and not wrong:
        first = f"{sides[0]}.{next(iter(stance.KINDS[kind].fields))}"
        wrong[first] = "Nothing was measured yet: fill in one foot at least."
    if wrong:
        raise BadInput(f"{stance.KINDS[kind].label} needs another look. {' '.join(wrong.values())}", wrong)
    return found


def _journal(db: Session, row: FootMeasure, by: Viewer) -> None:
    facts: dict[str, Any] = {"measure": row.id, "kind": row.kind, "sides": row.side, "with_devices": row.with_devices}
    if row.replaces_id:
        facts |= {"replaces": row.replaces_id}
        journal.write(db, "measure_corrected", by=by.staff_id, subject="pair", subject_id=row.pair_id, facts=facts)
    else:
        journal.write(db, "measured", by=by.staff_id, subject="pair", subject_id=row.pair_id, facts=facts)


def add_photo(db: Session, storage: Storage, *, code: str, with_devices: bool, photo: Photo, by: Viewer) -> int:
    """The photo of this visit without or with devices, and its id; the very file that is there already does nothing."""
    loaded = may_measure(db, code=code, by=by, lock=True)
    for other in queries.photos(db, loaded.row["id"]):
        if (other.sha256, other.with_devices) == (photo.sha256, with_devices):
            return other.id
        if other.sha256 == photo.sha256:
            words = "This is the very photo that shows the wearer the other way, with or without devices."
            raise BadInput(words, {"photo": words})
    key = storage.keep_with(db, photo.jpeg, "jpg")
    row = StancePhoto(
        pair_id=loaded.row["id"],
        visit_id=loaded.row["visit_id"],
        with_devices=with_devices,
        file_key=key,
        width_px=photo.width_px,
        height_px=photo.height_px,
        size_bytes=len(photo.jpeg),
        sha256=photo.sha256,
        uploaded_by=by.staff_id,
        uploaded_at=clock.now(),
    )
    db.add(row)
    db.flush()
    facts = {"photo": row.id, "with_devices": with_devices}
    journal.write(db, "stance_photo_added", by=by.staff_id, subject="pair", subject_id=loaded.row["id"], facts=facts)
    return row.id
