"""What the order says that lies in the box with the casts: whose label, which casts, what else may be in there."""

from datetime import date
from typing import NamedTuple
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.bench.queries import Loaded
from app.bench.rules.belongings import BELONGINGS
from app.bench.rules.machine import SIDE_WORDS
from app.capture import queries as captures
from app.capture.rules import KINDS
from app.errors import Unready
from app.orders import queries as orders
from app.people import queries as people
from app.people.queries import ClinicRow, LabRow


class BoxOrder(NamedTuple):
    code: str
    """Also what a scanner types: the code alone."""
    label: str
    sides: str
    clinic: ClinicRow
    lab: LabRow
    ordered_on: date
    wanted_on: date | None
    rush: bool
    casts: list[tuple[str, str]]
    """Side and kind in words, of what lies in the box."""
    files: list[tuple[str, str]]
    """The same of what comes as a file."""
    along: list[str]
    """What else comes with pairs, to be ticked."""


def box_order(db: Session, loaded: Loaded, zone: str) -> BoxOrder:
    """Unready where nothing is sent in a box."""
    row, state = loaded.row, loaded.state
    order, _ = orders.order_and_patient(db, row["order_id"])
    rows = [(SIDE_WORDS[each.side], KINDS[each.kind], each.kind) for each in captures.of_order(db, order.id)]
    casts = [(side, words) for side, words, kind in rows if kind != "scan"]
    if not casts:
        raise Unready(f"{state.code} is worked from scans alone: nothing is sent in a box, so no order goes with it.")
    return BoxOrder(
        code=state.code,
        label=row["label"],
        sides=state.all_sides,
        clinic=people.clinic(db, row["clinic_id"]),
        lab=people.lab(db),
        ordered_on=order.ordered_at.astimezone(ZoneInfo(zone)).date(),
        wanted_on=row["wanted_on"],
        rush=row["rush"],
        casts=casts,
        files=[(side, words) for side, words, kind in rows if kind == "scan"],
        along=list(BELONGINGS.values()),
    )
