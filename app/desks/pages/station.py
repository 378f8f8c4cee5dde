"""The scan station: one field, one answer. Here as a plain form; static/bench/ does the same with station_data.py."""

import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app import clock
from app.bench import queries as bench
from app.bench.actions import materials
from app.bench.rules import cards, station
from app.bench.rules.cards import Card
from app.bench.rules.stages import STAGES
from app.bench.rules.station import Shown
from app.desks.actions import station as actions
from app.desks.actions.station import Wanted
from app.desks.pages.station_data import page_data
from app.desks.queries import station as queries
from app.desks.rules import whole
from app.errors import NotFound, Refusal, SignedOut
from app.people import queries as people
from app.people.permissions import need
from app.people.rules import Viewer
from app.people.sessions import AtBench, lock, sign_on_page
from app.templating import page
from app.trade import scans
from app.web import Form, Typed

router = APIRouter(include_in_schema=False)
STAGE_COOKIE = "pairtrail_bench_stage"
A_YEAR = 365 * 24 * 3600
NONE_DONE: Mapping[str, Any] = {"done": [], "left": {}, "sentence": "None done."}


@dataclass(frozen=True, slots=True)
class Bench:
    """What a bench has in hand, carried along by its form."""

    stage: str = ""
    shown: str = ""
    """The code of the pair that is looked at."""
    since: float = 0.0
    """When it was scanned, in seconds of the server's clock."""
    ticket: int | None = None
    last: str = ""
    """The code of the pair that the last act was done to."""
    rack: tuple[str, ...] | None = None
    """The codes of a batch, in the order they were scanned; None outside of one."""
    sets_for: int = 0
    pending: str = ""
    """The payload of a card that waits to be told the side."""


class Said(NamedTuple):
    """The answer to a scan or a tap."""

    kind: str
    sentence: str


class Turn(NamedTuple):
    """One scan or tap: who asks, what the bench has in hand, what its form sent."""

    request: Request
    ask: AtBench
    here: Bench
    form: Typed


@router.get("/bench")
def station_page(request: Request, ask: AtBench, stage: str = "") -> Response:
    """`stage` sets this bench for good."""
    with ask.reading() as (viewer, db):
        need(viewer, "work_at_bench")
        known = stage or request.cookies.get(STAGE_COOKIE, "")
        return _page(request, db, viewer, Bench(stage=known if known in STAGES else ""), None)


@router.post("/bench")
def work(request: Request, ask: AtBench, form: Form) -> Response:
    """A scan, or the button that stands for one."""
    turn = Turn(request, ask, _in_hand(form), form)
    text = _pressed(form) or form.get("scan", "").strip()
    if not text:
        return _answer(turn, turn.here)
    try:
        scan = scans.read(text)
        card = cards.meant(scan) if scan.kind == "card" else None
    except scans.BadScan as refusal:
        kind = "mistyped" if isinstance(refusal, scans.MisreadScan) else "unknown"
        return _answer(turn, turn.here, Said(kind, str(refusal)))
    return _card(turn, card) if card else SCANNED[scan.kind](turn, scan)


def _in_hand(form: Typed) -> Bench:
    stage, since = form.get("stage", ""), form.get("since", "")
    return Bench(
        stage=stage if stage in STAGES else "",
        shown=form.get("shown", ""),
        since=float(since) if since.replace(".", "", 1).isdigit() else 0.0,
        ticket=whole(form.get("ticket", "")) or None,
        last=form.get("last", ""),
        rack=tuple(form.all("rack")) if "in_rack" in form else None,
        sets_for=whole(form.get("sets_for", "")),
    )


def _pressed(form: Typed) -> str:
    """The payload that a button stands for: of its own, of work over several stages, of a card that asked for sides."""
    if form.get("sides"):
        return form.get("pending", "")
    return cards.DONE.payload if form.get("to_stage") else form.get("do", "")


def _pair(turn: Turn, scan: scans.Scan) -> Response:
    """A job ticket or a code: the pair is shown, and at a bench with a stage its second scan advances it."""
    here, now = turn.here, clock.now().timestamp()
    code, ticket = scan.values[0], scan.number if scan.kind == "ticket" else None
    if here.rack is not None:
        rack = here.rack if code in here.rack else (*here.rack, code)
        return _answer(turn, replace(here, rack=rack))
    if code != here.shown or not here.stage:
        return _answer(turn, replace(here, shown=code, ticket=ticket, since=now))
    if now - here.since < station.REPEAT_SECONDS:
        return _answer(turn, here, Said("again", "Read twice; nothing was done."))
    return _do(turn._replace(here=replace(here, ticket=ticket)), cards.DONE)


def _lot(turn: Turn, scan: scans.Scan) -> Response:
    """A lot's label, scanned at a bench, says that this pack is the opened one: from now on it is noted by itself."""
    try:
        with turn.ask.writing() as (viewer, db):
            need(viewer, "keep_materials")
            lot = bench.lot(db, scan.number)
            instead = materials.take_into_use(db, by=viewer, lot_id=lot.id)
    except SignedOut:
        raise
    except Refusal as refusal:
        return _answer(turn, turn.here, Said("refused", refusal.sentence), refusal.status)
    words = f"Lot {lot.number} of {lot.name} is in use" + (f"; lot {instead} is put away." if instead else ".")
    return _answer(turn, turn.here, Said("noted", words))


def _badge(turn: Turn, scan: scans.Scan) -> Response:
    """Somebody else comes to the bench; the badge is there already, the PIN is asked for."""
    return sign_on_page(turn.request, typed=scan.text)


def _parcel(turn: Turn, _scan: scans.Scan) -> Response:
    return _answer(turn, turn.here, Said("unknown", "Parcels are packed and received on their own page."))


SCANNED: dict[str, Callable[[Turn, scans.Scan], Response]] = {
    "code": _pair,
    "ticket": _pair,
    "lot": _lot,
    "badge": _badge,
    "parcel": _parcel,
}


def _card(turn: Turn, card: Card) -> Response:
    here = turn.here
    if card.do == "lock":
        return lock(turn.request)
    if card.do == "stage":
        return _answer(turn, Bench(stage=card.stage))
    if card.do == "batch_begin":
        return _answer(turn, replace(here, shown="", rack=here.rack or ()))
    if card.do == "batch_end":
        return _answer(turn, replace(here, rack=None))
    return _rack(turn) if here.rack and card.do == "advance" else _do(turn, card)


def _do(turn: Turn, card: Card) -> Response:
    """An act on the pair that is shown, or on the last one when it is taken back; refused, nothing has changed."""
    here, form = turn.here, turn.form
    code = here.last if card.do == "take_back" else here.shown
    if not code:
        return _answer(turn, here, Said("nothing", "Scan the pair first."))
    try:
        with turn.ask.writing() as (viewer, db):
            need(viewer, "work_at_bench")
            pair = queries.look(db, code, viewer, here.stage, here.ticket)
            # What stands in the way of the work is said once more; a card or a tap does not wave it through.
            if card.do == "advance" and pair.kind != "here":
                return _answer(turn, here)
            if card.do == "send_back" and pair.working == "LR" and not form.get("sides"):
                return _answer(turn, replace(here, pending=card.payload), Said("which", station.WHICH_SIDE))
            wanted = Wanted(
                card.do, code, here.stage, to_stage=card.stage or form.get("to_stage", ""),
                sides=form.get("sides", ""), reason=card.reason, waiting_on=card.waiting_on, ticket=here.ticket,
                version=_version(form, code), sets_for=here.sets_for, lots=pair.lots if card.do == "advance" else (),
            )  # fmt: skip
            done = actions.do_once(db, wanted, by=viewer, key=form.get("key") or None)
    except SignedOut:
        raise
    except Refusal as refusal:
        return _answer(turn, here, Said("refused", refusal.sentence), refusal.status)
    after = replace(here, shown="", ticket=None, last="" if card.do == "take_back" else code)
    return _answer(turn, after, Said(done["kind"], done["sentence"]))


def _version(form: Typed, code: str) -> int | None:
    """What the form was shown of this pair."""
    return whole(form.get("version", "")) if form.get("version_of") == code else None


def _rack(turn: Turn) -> Response:
    """Everything of the batch that may go on goes on, in one act; what may not stays in it, with why."""
    here = turn.here
    with turn.ask.writing() as (viewer, db):
        need(viewer, "work_at_bench")
        pairs = [queries.look(db, code, viewer, here.stage) for code in here.rack or ()]
        wanted = [
            Wanted("advance", pair.code, here.stage, version=pair.version, sets_for=here.sets_for, lots=pair.lots)
            for pair in pairs
            if pair.kind == "here"
        ]
        done = actions.rack_once(db, wanted, by=viewer, key=turn.form.get("key") or None) if wanted else NONE_DONE
    left = {pair.code: pair.sentence for pair in pairs if pair.kind != "here"} | done["left"]
    words = f"{len(done['done'])} of {len(pairs)} done." if left else done["sentence"]
    why = " ".join(f"{code}: {sentence}" for code, sentence in left.items())
    said = Said("refused" if left else "done", f"{words} {why}".strip())
    return _answer(turn, replace(here, rack=tuple(left) or None, shown=""), said)


def _answer(turn: Turn, here: Bench, said: Said | None = None, status: int = 200) -> Response:
    with turn.ask.reading() as (viewer, db):
        need(viewer, "work_at_bench")
        return _page(turn.request, db, viewer, here, said, status)


def _page(request: Request, db: Session, viewer: Viewer, here: Bench, said: Said | None, status: int = 200) -> Response:
    pair: Shown | None = None
    if here.shown:
        try:
            pair = queries.look(db, here.shown, viewer, here.stage, here.ticket)
        except NotFound as refusal:
            said, here = Said("unknown", refusal.sentence), replace(here, shown="")
    said = said or (Said(pair.kind, pair.sentence) if pair else None)
    lab, idle = people.lab(db), request.app.state.settings.bench_idle_minutes
    answer = page(
        request,
        "desks/station.html",
        viewer=viewer,
        status=status,
        demo=lab.demo,
        bench=here,
        station=STAGES.get(here.stage),
        stages=[STAGES[key] for key in station.bench_stages(lab.stages_on)],
        day=queries.day(db, viewer, here.stage) if here.stage else None,
        told=said,
        pair=pair,
        rack=[queries.look(db, code, viewer, here.stage) for code in here.rack or ()],
        tones=station.TONES,
        cards=cards,
        marks_start=lab.marks_start,
        groups={group.title: group.cards for group in cards.offered(lab.stages_on, lab.marks_start)},
        key=secrets.token_urlsafe(16),
        data=page_data(viewer.staff_id, here.stage, idle if viewer.station else 0),
    )
    if here.stage and request.cookies.get(STAGE_COOKIE) != here.stage:
        answer.set_cookie(STAGE_COOKIE, here.stage, max_age=A_YEAR, path="/bench", httponly=True, samesite="strict")
    return answer
