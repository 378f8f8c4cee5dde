"""A second pair from an earlier pair's captures: pressed while its positives are kept, poured or carved after."""

from dataclasses import replace

from sqlmodel import Session

from app import clock
from app.bench import actions as bench
from app.bench import queries
from app.bench.actions import Placed
from app.bench.queries import Loaded
from app.bench.rules.orders import Wanted
from app.bench.rules.stages import WAYS, start_of
from app.capture import actions as capture
from app.capture import queries as captures
from app.capture.queries import positives
from app.capture.rules import feet
from app.errors import BadInput
from app.orders.rules.checks import Answers
from app.people.rules import Viewer
from app.trade import codes


def second_pair(db: Session, *, by: Viewer, wanted: Wanted, same: str, answers: Answers | None) -> Placed:
    """Orders `wanted`, worked from what the pair with the code `same` was worked from.

    With `answers` the prescription is checked, as in `bench.place`.
    """
    loaded = queries.find(db, same, by, lock=True)
    order_id = loaded.row["order_id"]
    _check(loaded, wanted)
    start = starts_at(db, loaded, wanted.way, wanted.sides, by)
    if answers is not None:
        meshes = captures.meshes(db, [order_id])[order_id]
        taken = {side: day for side, day in captures.captured_on(db, order_id, by.zone).items() if side in wanted.sides}
        answers = replace(answers, feet=feet(meshes), captured_on=taken)
    placed = bench.place(db, by=by, wanted=wanted, start=start, answers=answers)
    pressed = wanted.sides if start == "press" else ""
    capture.share(db, order_id=order_id, new_order_id=placed.order_id, sides=wanted.sides, positives=pressed)
    return placed


def starts_at(db: Session, loaded: Loaded, way: str, sides: str, by: Viewer) -> str:
    """The stage at which such a pair starts. What is not checked in yet is checked in first, once for each pair."""
    order_id = loaded.row["order_id"]
    here = {row.side for row in captures.of_order(db, order_id) if row.state in ("accepted", "used_up")}
    if not set(sides) <= here:
        return "check_in"
    standing = positives.of_order(db, order_id)
    today = clock.today(by.zone)
    kept = all(side in standing and standing[side].kept(today) for side in sides)
    return start_of(way, "positive" if kept and "press" in WAYS[way] else "capture")


def _check(loaded: Loaded, wanted: Wanted) -> None:
    wrong = {}
    code, sides, way = loaded.state.code, loaded.state.all_sides, loaded.row["way"]
    if (wanted.clinic_id, codes.normalise(wanted.label)) != (
        loaded.row["clinic_id"],
        codes.normalise(loaded.row["label"]),
    ):
        wrong["label"] = f"{code} is for {loaded.row['label']}; another wearer needs captures of their own."
    if not set(wanted.sides) <= set(sides):
        wrong["sides"] = f"{code} has captures of {sides} alone."
    if "cast" in (way, wanted.way) and wanted.way != way:
        wrong["way"] = "A cast is poured and a scan carved or milled: this pair goes the earlier one's route."
    if wrong:
        raise BadInput("The second pair needs another look; nothing was lost.", wrong)
