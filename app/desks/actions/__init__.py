"""One way in for every act, whichever page, scan or program asks for it: the room that owns the act is called."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.bench import actions as bench
from app.bench import queries
from app.bench.actions import Moved, using
from app.bench.queries import Loaded
from app.bench.rules import photos as photo_rules
from app.bench.rules.acts import ENDS
from app.bench.rules.machine import Asked
from app.bench.rules.orders import Wanted
from app.bench.rules.stages import start_of
from app.capture import actions as capture
from app.capture.queries import captured_on
from app.capture.reading.photos import Photo
from app.capture.reading.scans import ScanFile
from app.desks.actions import positives
from app.desks.queries.promise import foretold
from app.desks.rules import ELSEWHERE, MARKS_START, REMAKE_STARTS
from app.errors import BadInput, NotFound, Unready
from app.fitting import actions as fitting
from app.fitting.rules.fit import HELD_BACK
from app.orders import queries as orders
from app.orders.rules.checks import Answers
from app.people import queries as people
from app.people.permissions import need
from app.people.rules import Viewer
from app.storage import Storage


def do(db: Session, *, code: str, asked: Asked, by: Viewer, done_at: datetime | None = None) -> Moved:
    """Does `asked` to the pair with this code; the answer is where it stands afterwards."""
    if asked.act in ELSEWHERE:
        words = f"'{asked.act}' needs more than an act says: {ELSEWHERE[asked.act]}."
        raise BadInput(words, {"act": words})
    if asked.act in MARKS_START and not people.lab(db).marks_start:
        raise Unready("This lab does not record who begins work; a manager can switch it on in the lab's settings.")
    special = fitting.hold_back if "fit" in asked.facts and asked.act in HELD_BACK else SPECIAL.get(asked.act)
    if special is not None:
        return special(db, code=code, asked=asked, by=by, done_at=done_at)
    if asked.act == "advance" and asked.from_stage == "check_in":
        box = {key: asked.facts[key] for key in ("shelf", "conditions", "belongings") if key in asked.facts}
        asked = replace(asked, facts={key: value for key, value in asked.facts.items() if key not in box})
        return check_in(db, code=code, asked=asked, by=by, done_at=done_at, **box)
    return bench.move(db, code=code, asked=asked, by=by, done_at=done_at)


def do_with_photos(
    db: Session,
    storage: Storage,
    *,
    code: str,
    asked: Asked,
    photos: Sequence[Photo],
    by: Viewer,
    done_at: datetime | None = None,
) -> Moved:
    """As `do`; the photos, if there are any, show what is asked or told, and are kept with it or not at all."""
    photo_rules.check(asked.act, len(photos))
    moved = do(db, code=code, asked=asked, by=by, done_at=done_at)
    bench.attach(db, storage, moved=moved, photos=photos, by=by)
    return moved


def check_in(db: Session, *, code: str, asked: Asked, by: Viewer, **box: Any) -> Moved:
    """The lab promises the day that it can keep as surely as it wants, by the forecasts made last."""
    return bench.check_in(db, code=code, asked=asked, by=by, foretold=foretold(db, queries.find(db, code, by)), **box)


def remake(db: Session, *, code: str, asked: Asked, by: Viewer, done_at: datetime | None = None) -> Moved:
    """The old pair ends as replaced; a new one is ordered with its prescription, the side not remade carried along.

    `facts.start` says from what: `positive` (pressed again), `capture` (poured again) or `new` (a new capture);
    `facts.acknowledged` names the cautions that were seen.
    """
    start = asked.facts.get("start", "positive")
    if start not in REMAKE_STARTS:
        words = f"'{start}' is no start for a remake: {', '.join(REMAKE_STARTS)}."
        raise BadInput(words, {"start": words})
    loaded = queries.find(db, code, by, lock=True)
    order, patient = orders.order_and_patient(db, loaded.row["order_id"])
    holding = orders.holding(db, order.id)
    answers = _of_its_age(db, asked, order.id, by) if start != "new" else None
    asked = replace(asked, facts={key: value for key, value in asked.facts.items() if key != "acknowledged"})
    old = bench.move(db, code=code, asked=asked, by=by, done_at=done_at)
    if start == "positive":
        positives.need_kept(db, by, order.id, str(asked.sides), order.way)
    fitting.stop_wearing(db, old, "remake")
    wanted = Wanted(
        clinic_id=loaded.row["clinic_id"],
        label=patient.label,
        way=order.way,
        sides=order.sides,
        prescription=asked.facts.get("prescription") or holding.body,
        captures=dict.fromkeys(order.sides, "scan" if order.way != "cast" else "slipper_plaster"),
        prescriber_id=order.prescriber_id,
        shoe=order.shoe,
        feet=order.feet,
        ulcer=_said(db, order.ulcer_note_id),
    )
    carried = "".join(side for side in order.sides if side not in str(asked.sides))
    placed = bench.place(
        db,
        by=by,
        wanted=wanted,
        start=start_of(order.way, start),
        reason="remake",
        carried=carried,
        replaces=old.pair_id,
        facts={"replaces": old.pair_id, "bears": asked.facts.get("bears"), "why": asked.reason},
        answers=answers,
    )
    shared = carried if start == "new" else order.sides
    pressed = order.sides if start == "positive" else carried
    capture.share(db, order_id=order.id, new_order_id=placed.order_id, sides=shared, positives=pressed)
    using.carry(db, old=old.pair_id, new=placed.pair_id, sides=carried, move_id=placed.move_id)
    state = queries.find_by_id(db, placed.pair_id).state
    return Moved(placed.pair_id, placed.order_id, placed.move_id, state)


def add_scan(db: Session, storage: Storage, *, code: str, side: str, file: ScanFile, by: Viewer) -> Loaded:
    """Adds the scan file of one side to the order's capture; answers the pair as it stands."""
    loaded = scan_side(db, code=code, side=side, by=by, lock=True)
    if loaded.state.end:
        raise Unready(f"{loaded.state.code} is {ENDS[loaded.state.end]}; nothing is worked from a new scan.")
    capture.add_scan(db, storage, by=by, order_id=loaded.row["order_id"], side=side, file=file)
    return loaded


def scan_side(db: Session, *, code: str, side: str, by: Viewer, lock: bool = False) -> Loaded:
    """The pair whose side this person may add a scan to; asked before a large file is read, too."""
    loaded = queries.find(db, code, by, lock=lock)
    if side not in loaded.state.all_sides:
        raise NotFound(f"{loaded.state.code} has no side '{side[:10]}'; it is {loaded.state.all_sides}.")
    need(by, "add_scan", loaded.row["clinic_id"])
    return loaded


def take_back(db: Session, *, code: str, asked: Asked, by: Viewer, done_at: datetime | None = None) -> Moved:
    """The own last act never happened, and neither did what it had made."""
    undone = queries.last_move(db, queries.find(db, code, by, lock=True).row["id"])
    moved = bench.move(db, code=code, asked=asked, by=by, done_at=done_at)
    if undone is not None and undone.act == "dispense":
        fitting.undo_dispense(db, move_id=undone.id, order_id=moved.order_id, by=by)
    return moved


def _of_its_age(db: Session, asked: Asked, order_id: int, by: Viewer) -> Answers:
    """What is asked of a remake: everything was answered before, but the capture has grown older since."""
    seen = asked.facts.get("acknowledged")
    return Answers(
        frozenset(str(each) for each in seen) if isinstance(seen, list) else frozenset(),
        captured_on=captured_on(db, order_id, by.zone),
        units=by.units,
        only="stale",
    )


def _said(db: Session, note_id: int | None) -> str | None:
    return orders.words(db, [note_id]).get(note_id) if note_id else None


SPECIAL: Mapping[str, Callable[..., Moved]] = {
    "promise": bench.promise,
    "recapture": bench.recapture,
    "remake": remake,
    "take_back": take_back,
    "transfer": bench.transfer,
    **fitting.ACTS,
}
