"""What can still be made from what an earlier pair was made from: its positives while they are kept, its captures."""

from sqlmodel import Session

from app import clock
from app.bench import queries
from app.bench.queries import Loaded
from app.bench.rules.machine import SIDE_WORDS
from app.bench.rules.stages import WAYS
from app.capture.actions import positives as capture
from app.capture.queries import positives
from app.capture.queries.positives import PositiveRow
from app.capture.rules import POSITIVE_STATES
from app.errors import NotFound, Unready
from app.people.permissions import need
from app.people.rules import Viewer
from app.templating import day_words

WORKED = {"pour": "poured", "carve": "carved", "mill": "milled"}


def need_kept(db: Session, by: Viewer, order_id: int, sides: str, way: str) -> None:
    """Refuses to press over a positive that is known to be gone. Of one that nobody wrote down the lab itself knows."""
    if "press" not in WAYS[way]:
        return
    today = clock.today(by.zone)
    for side, positive in positives.of_order(db, order_id).items():
        if side in sides and not positive.kept(today):
            work = next(WORKED[stage] for stage in WAYS[way] if stage in WORKED)
            raise Unready(
                f"The positive, {SIDE_WORDS[side]}, {why_gone(positive)}: nothing can be pressed over it. Start from "
                f"the capture, which is {work} again, or from a new capture."
            )


def why_gone(positive: PositiveRow) -> str:
    if positive.state == "intact" and positive.kept_until is not None:
        return f"was kept until {day_words(positive.kept_until)} {positive.kept_until.year}"
    return f"is {POSITIVE_STATES[positive.state]}"


def change_positive(db: Session, *, code: str, side: str, act: str, shelf: str = "", by: Viewer) -> Loaded:
    """Puts the positive of one side on another shelf, or gives it up as broken or thrown_away."""
    loaded = queries.find(db, code, by, lock=True)
    need(by, "keep_positive", loaded.row["clinic_id"])
    if side not in loaded.state.all_sides:
        raise NotFound(f"{loaded.state.code} has no side '{side[:10]}'; it is {loaded.state.all_sides}.")
    order_id = loaded.row["order_id"]
    if act == "put":
        capture.put(db, order_id=order_id, side=side, shelf=shelf)
    else:
        capture.give_up(db, by=by, order_id=order_id, side=side, state=act)
    return loaded
