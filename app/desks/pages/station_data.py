"""What static/bench/ asks while somebody works: one pair, the pairs of a stage, an act, a rack; plain data."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any, Literal

from fastapi import APIRouter
from fastapi.responses import FileResponse, JSONResponse, Response
from pydantic import BaseModel, ConfigDict, Field

from app.bench.rules import cards, station
from app.bench.rules.acts import ACTS
from app.bench.rules.stages import STAGES
from app.desks.actions import station as actions
from app.desks.actions.station import Wanted
from app.desks.queries import station as queries
from app.errors import MovedOn, NotFound, Refusal, SignedOut
from app.people.permissions import need
from app.people.sessions import AtBench
from app.settings import ROOT
from app.trade import keyboards
from app.trade.codes import parse

router = APIRouter(prefix="/bench", include_in_schema=False)
AT_A_BENCH = ("advance", "start", "put_down", "park", "send_back", "take_back")


class ActIn(BaseModel):
    """One act as a bench sends it, at once or when the network is back."""

    model_config = ConfigDict(extra="forbid")

    act: Literal["advance", "start", "put_down", "park", "send_back", "take_back"]
    code: str = Field(max_length=20)
    stage: str = Field(default="", max_length=20)
    to_stage: str = Field(default="", max_length=20)
    sides: str = Field(default="", pattern="^(L|R|LR)?$")
    reason: str = Field(default="", max_length=40)
    waiting_on: str = Field(default="", max_length=20)
    ticket: int | None = Field(default=None, ge=1, le=9999)
    version: int | None = Field(default=None, ge=0)
    sets_for: int = Field(default=0, ge=0, le=72 * 60)
    lots: list[int] = Field(default_factory=list, max_length=10)

    def wanted(self) -> Wanted:
        return Wanted(**self.model_dump(exclude={"lots"}), lots=tuple(self.lots))


class Sent(BaseModel):
    """What is done once under `key`. `seconds_ago`, how long it has waited on the tablet, is no part of it."""

    model_config = ConfigDict(extra="forbid")

    key: str = Field(min_length=8, max_length=200)
    staff: int | None = None
    """Who did it; nobody else can send it."""
    acts: list[ActIn] = Field(min_length=1, max_length=200)
    seconds_ago: float = Field(default=0, ge=0, le=366 * 24 * 3600)


@router.get("/pair/{code}")
def look(code: str, ask: AtBench, stage: str = "", ticket: int | None = None) -> Response:
    """The pair as this bench is to see it."""

    def found() -> dict[str, Any]:
        with ask.reading() as (viewer, db):
            need(viewer, "work_at_bench")
            return queries.look(db, _code(code), viewer, stage if stage in STAGES else "", ticket).plain()

    return _told(found)


@router.get("/held")
def held(ask: AtBench, stage: str) -> Response:
    """What a bench of this stage keeps for when the network is gone, and how its day goes."""

    def kept() -> dict[str, Any]:
        with ask.reading() as (viewer, db):
            need(viewer, "work_at_bench")
            if stage not in STAGES:
                raise NotFound(f"There is no stage '{stage[:20]}'.")
            day = queries.day(db, viewer, stage)
            pairs = [each.plain() for each in queries.held(db, viewer, stage)]
            return {"stage": stage, "staff": viewer.staff_id, "day": day._asdict(), "pairs": pairs}

    return _told(kept)


@router.post("/acts")
def act(sent: Sent, ask: AtBench) -> Response:
    """One act, or a rack of them, once under its key. Refused it says why and, of a pair that moved, where it is."""
    wanted = [each.wanted() for each in sent.acts]
    ago = timedelta(seconds=sent.seconds_ago)

    def done() -> dict[str, Any]:
        with ask.writing() as (viewer, db):
            need(viewer, "work_at_bench")
            if sent.staff not in (None, viewer.staff_id):
                raise SignedOut("Somebody else is signed on here now; this waits for who did it.")
            if len(wanted) == 1:
                return actions.do_once(db, wanted[0], by=viewer, key=sent.key, ago=ago)
            return actions.rack_once(db, wanted, by=viewer, key=sent.key, ago=ago)

    return _told(done)


def _told(work: Callable[[], dict[str, Any]]) -> Response:
    """The answer, or the refusal as one: who is signed out has to sign on, whatever else is said at the bench."""
    try:
        return JSONResponse(work())
    except NotFound as refusal:
        return JSONResponse({"kind": "unknown", "sentence": refusal.sentence}, refusal.status)
    except Refusal as refusal:
        moved = isinstance(refusal, MovedOn)
        told = {"kind": "elsewhere" if moved else "refused", "sentence": refusal.sentence}
        return JSONResponse(told, refusal.status)


def _code(text: str) -> str:
    try:
        return parse(text)
    except ValueError as fault:
        raise NotFound(str(fault)) from None


@router.get("/worker.js")
def worker() -> Response:
    """Beside the pages that it serves while the network is gone: a worker's reach is the folder it lies in."""
    return FileResponse(
        ROOT / "static" / "bench" / "worker.js",
        media_type="text/javascript",
        headers={"service-worker-allowed": "/bench", "cache-control": "no-cache"},
    )


def page_data(staff_id: int, stage: str, idle_minutes: int) -> dict[str, Any]:
    """What the station's scripts are told once, with the page: words, cards and keyboards, so that they hold none.

    `idle_minutes` is 0 where nobody signed on with a badge.
    """
    return {
        "idleMinutes": idle_minutes,
        "lock": cards.LOCK.payload,
        "staff": staff_id,
        "stage": stage,
        "done": STAGES[stage].done if stage else "",
        "tones": {kind: tone._asdict() for kind, tone in station.TONES.items()},
        "oldTicket": station.OLD_TICKET,
        "whichSide": station.WHICH_SIDE,
        "repeatSeconds": station.REPEAT_SECONDS,
        "keyboards": {"us": keyboards.US, "layouts": keyboards.LAYOUTS},
        "cards": {payload: _plain(card) for payload, card in cards.BY_PAYLOAD.items()},
        "buttons": {key: ACTS[key].button for key in AT_A_BENCH},
    }


def _plain(card: cards.Card) -> dict[str, str]:
    return {"do": card.do, "name": card.name, "stage": card.stage, "reason": card.reason, "on": card.waiting_on}
