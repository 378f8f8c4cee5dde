"""Reading how a wearer stands: every measure of a pair with who took it, and the photos they were marked in."""

from datetime import date, datetime
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from sqlalchemy import Select, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.bench.tables import Visit
from app.errors import NotFound
from app.fitting.tables import FootMeasure, StancePhoto
from app.people.tables import Staff


class MeasureRow(NamedTuple):
    id: int
    kind: str
    side: str
    with_devices: bool
    found: dict[str, Any]
    photo_id: int | None
    at: datetime
    by: str
    visit: int
    """The number of the pair's visit."""
    replaces_id: int | None
    replaced: bool
    """A later row corrects this one."""

    def day(self, zone: str) -> date:
        return self.at.astimezone(ZoneInfo(zone)).date()


_LATER = aliased(FootMeasure)


def _measures(pair_id: int) -> Select[Any]:
    own = (
        col(getattr(FootMeasure, name)) for name in ("id", "kind", "side", "with_devices", "found", "photo_id", "at")
    )
    return (
        select(
            *own,
            col(Staff.name),
            col(Visit.number),
            col(FootMeasure.replaces_id),
            col(_LATER.id).is_not(None),
        )
        .join(Staff, col(Staff.id) == col(FootMeasure.staff_id))
        .join(Visit, col(Visit.id) == col(FootMeasure.visit_id))
        .join(_LATER, col(_LATER.replaces_id) == col(FootMeasure.id), isouter=True)
        .where(col(FootMeasure.pair_id) == pair_id)
        .order_by(col(FootMeasure.id))
    )


def measures(db: Session, pair_id: int) -> list[MeasureRow]:
    """All that was ever measured, the oldest first, what was corrected among it.

    A correction stands at the time of what it corrects: the foot was measured then, only written down wrongly.
    """
    rows = {row[0]: MeasureRow(*row) for row in db.execute(_measures(pair_id))}
    for id, row in rows.items():
        if row.replaces_id:
            rows[id] = row._replace(at=rows[row.replaces_id].at, visit=rows[row.replaces_id].visit)
    return sorted(rows.values(), key=lambda row: (row.at, row.id))


def holding(db: Session, pair_id: int, kind: str, with_devices: bool) -> list[MeasureRow]:
    """What holds of one kind, the oldest first: no other row corrects it."""
    rows = measures(db, pair_id)
    return [row for row in rows if (row.kind, row.with_devices, row.replaced) == (kind, with_devices, False)]


def measure_of(db: Session, pair_id: int, measure_id: int) -> MeasureRow:
    row = next((row for row in measures(db, pair_id) if row.id == measure_id), None)
    if row is None:
        raise NotFound("There is no such measure of this pair.")
    return row


def photos(db: Session, pair_id: int) -> list[StancePhoto]:
    """The oldest first."""
    wanted = select(StancePhoto).where(col(StancePhoto.pair_id) == pair_id).order_by(col(StancePhoto.id))
    return list(db.execute(wanted).scalars())


def photo(db: Session, pair_id: int, photo_id: int) -> StancePhoto:
    row = db.get(StancePhoto, photo_id)
    if row is None or row.pair_id != pair_id:
        raise NotFound("There is no such photo of this pair.")
    return row
