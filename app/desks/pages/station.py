"""The scan station: one field, one answer. Here as a plain form; static/bench/ does the same with station_data.py."""

import secrets
from dataclasses import dataclass, field, replace

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app import clock
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
from app.people.sessions import Signed as AtBench
from app.templating import page
from app.trade import scans
from app.web import Form, Typed

router = APIRouter(include_in_schema=False)
STAGE_COOKIE = "pairtrail_bench_stage"
A_YEAR = 365 * 24 * 3600


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


@dataclass(frozen=True, slots=True)
class Said:
    """The answer to a scan or a tap."""

    kind: str
    sentence: str
    pair: Shown | None = None
    rack: list[Shown] = field(default_factory=list)


@router.get("/bench")
def station_page(request: Request, ask: AtBench, stage: str = "") -> Response:
    """`stage` sets this bench for good."""
    with ask.reading() as (viewer, db):
        need(viewer, "work_at_bench")
        known = stage or request.cookies.get(STAGE_COOKIE, "")
        return _page(request, ask, db, viewer, Bench(stage=known if known in STAGES else ""), None)


@router.post("/bench")
def work(request: Request, ask: AtBench, form: Form) -> Response:
    """A scan, or the button that stands for one."""
    here, text = _in_hand(form), form.get("scan", "").strip()
    try:
        card, scan = _meant(_pressed(form), text)
    except scans.BadScan as refusal:
        kind = "mistyped" if isinstance(refusal, scans.MisreadScan) else "unknown"
        return _answered(request, ask, here, Said(kind, str(refusal)))
    if card:
        return _card(request, ask, here, card, form)
    if scan and scan.kind in ("code", "ticket"):
        return _pair(request, ask, here, scan, form)
    if scan:
        words = "Parcels and lots have pages of their own; here a pair's job ticket is scanned."
        return _answered(request, ask, here, Said("unknown", words))
    return _answered(request, ask, here, None)


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


def _meant(do: str, text: str) -> tuple[Card | None, scans.Scan | None]:
    """What a button or a scan says: buttons have the payloads of the cards whose twins they are."""
    if not (do or text):
        return None, None
    scan = scans.read(do or text)
    return (cards.meant(scan), None) if scan.kind == "card" else (None, scan)


def _pair(request: Request, ask: AtBench, here: Bench, scan: scans.Scan, form: Typed) -> Response:
    """A job ticket or a code: the pair is shown, and at a bench with a stage its second scan advances it."""
    code, ticket = scan.values[0], scan.number if scan.kind == "ticket" else None
    if here.rack is not None:
        rack = here.rack if code in here.rack else (*here.rack, code)
        return _answered(request, ask, replace(here, rack=rack), None)
    if code == here.shown and here.stage:
        if clock.now().timestamp() - here.since < station.REPEAT_SECONDS:
            return _answered(request, ask, here, Said("again", "Read twice; nothing was done."))
        return _do(request, ask, replace(here, ticket=ticket), cards.DONE, form)
    return _answered(request, ask, replace(here, shown=code, ticket=ticket, since=clock.now().timestamp()), None)


def _card(request: Request, ask: AtBench, here: Bench, card: Card, form: Typed) -> Response:
    if card.do == "stage":
        return _answered(request, ask, Bench(stage=card.stage), None)
    if card.do == "batch_begin":
        return _answered(request, ask, replace(here, shown="", rack=here.rack or ()), None)
    if card.do == "batch_end":
        return _answered(request, ask, replace(here, rack=None), None)
    if here.rack and card.do == "advance":
        return _rack(request, ask, here, form)
    if card.do == "send_back" and here.shown and not form.get("sides"):
        return _which_side(request, ask, here, card, form)
    return _do(request, ask, here, card, form)


def _do(request: Request, ask: AtBench, here: Bench, card: Card, form: Typed) -> Response:
    """An act on the pair that is shown, or on the last one when it is taken back; refused, nothing has changed."""
    code = here.last if card.do == "take_back" else here.shown
    if not code:
        return _answered(request, ask, here, Said("nothing", "Scan the pair first."))
    if card.do == "advance" and (stopped := _in_the_way(ask, here)):
        return _answered(request, ask, here, stopped)
    wanted = Wanted(
        card.do, code, here.stage, to_stage=card.stage or form.get("to_stage", ""), sides=form.get("sides", ""),
        reason=card.reason, waiting_on=card.waiting_on, ticket=here.ticket, version=_version(form, code),
        sets_for=here.sets_for,
    )  # fmt: skip
    try:
        with ask.writing() as (viewer, db):
            need(viewer, "work_at_bench")
            done = actions.do_once(db, wanted, by=viewer, key=form.get("key") or None)
    except SignedOut:
        raise
    except Refusal as refusal:
        return _answered(request, ask, here, Said("refused", refusal.sentence), refusal.status)
    after = replace(here, shown="", ticket=None, last="" if card.do == "take_back" else code)
    return _answered(request, ask, after, Said(done["kind"], done["sentence"]))


def _which_side(request: Request, ask: AtBench, here: Bench, card: Card, form: Typed) -> Response:
    """Asks which side goes back, if both have work here."""
    with ask.reading() as (viewer, db):
        pair = queries.look(db, here.shown, viewer, here.stage, here.ticket)
    if pair.working != "LR":
        return _do(request, ask, here, card, form)
    return _answered(request, ask, replace(here, pending=card.payload), Said("which", station.WHICH_SIDE, pair))


def _in_the_way(ask: AtBench, here: Bench) -> Said | None:
    """What keeps this bench from the work on the pair that is shown; a card or a tap does not wave it through."""
    with ask.reading() as (viewer, db):
        pair = queries.look(db, here.shown, viewer, here.stage, here.ticket)
    return None if pair.kind == "here" else Said(pair.kind, pair.sentence, pair)


def _version(form: Typed, code: str) -> int | None:
    """What the form was shown of this pair."""
    return whole(form.get("version", "")) if form.get("version_of") == code else None


def _rack(request: Request, ask: AtBench, here: Bench, form: Typed) -> Response:
    """Everything of the batch that may go on goes on, in one act; what may not stays in it, with why."""
    with ask.writing() as (viewer, db):
        need(viewer, "work_at_bench")
        wanted = [Wanted("advance", code, here.stage, sets_for=here.sets_for) for code in here.rack or ()]
        done = actions.rack_once(db, wanted, by=viewer, key=form.get("key") or None)
    why = " ".join(f"{code}: {sentence}" for code, sentence in done["left"].items())
    said = Said(done["kind"], f"{done['sentence']} {why}".strip())
    return _answered(request, ask, replace(here, rack=tuple(done["left"]) or None, shown=""), said)


def _answered(request: Request, ask: AtBench, here: Bench, said: Said | None, status: int = 200) -> Response:
    with ask.reading() as (viewer, db):
        need(viewer, "work_at_bench")
        return _page(request, ask, db, viewer, here, said, status)


def _page(
    request: Request, ask: AtBench, db: Session, viewer: Viewer, here: Bench, said: Said | None, status: int = 200
) -> Response:
    pair: Shown | None = None
    if here.shown:
        try:
            pair = queries.look(db, here.shown, viewer, here.stage, here.ticket)
        except NotFound as refusal:
            said, here = Said("unknown", refusal.sentence), replace(here, shown="")
    said = said or (Said(pair.kind, pair.sentence, pair) if pair else None)
    lab = people.lab(db)
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
        data=page_data(viewer.staff_id, here.stage, lab.marks_start),
    )
    if here.stage and request.cookies.get(STAGE_COOKIE) != here.stage:
        answer.set_cookie(STAGE_COOKIE, here.stage, max_age=A_YEAR, path="/bench", httponly=True, samesite="strict")
    return answer
