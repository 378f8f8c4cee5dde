"""The pairs behind a figure of coming back, the latest first."""

from collections.abc import Iterable, Iterator
from datetime import date, datetime
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from sqlalchemy import Text, and_, cast, exists, func, select
from sqlmodel import Session

from app.bench.queries import pair_t
from app.bench.queries.moves import move_t
from app.bench.queries.pairs import clinic_t, sees
from app.fitting.queries import review_t
from app.fitting.rules.review import OUTCOMES
from app.people.rules import Viewer
from app.turnaround.queries.followed import due
from app.turnaround.queries.returns import Where, adjustment_t, at, did, remade, shell_then
from app.turnaround.rules.asked import Asked
from app.turnaround.rules.behind import FOLLOWED, Behind
from app.turnaround.rules.returns import ADJUSTED, HERE, LAB, NO_STAGE, UNSAID, begins, ends, key_words

MOST = 200
"""Rows of a page; a spreadsheet has all."""


class Found(NamedTuple):
    """Something that happened to a pair."""

    pair: int
    on: date
    words: str


class Listed(NamedTuple):
    code: str
    label: str
    clinic: str
    on: date
    words: str
    stage: str | None
    end: str | None


_PAIR = tuple(pair_t.c[name] for name in ("id", "clinic_id", "code", "label", "stage", "end"))


def listed(
    db: Session, viewer: Viewer, asked: Asked, zone: str, behind: Behind, most: int | None = MOST
) -> tuple[list[Listed], int]:
    """At most so many of them, and how many there are in all; only pairs that the viewer may see."""
    found = sorted(_found(db, asked, zone, behind), key=lambda each: each.on, reverse=True)
    pairs: dict[int, Any] = {}
    for some in _chunks({each.pair for each in found}):
        query = select(*_PAIR, clinic_t.c.name).join(clinic_t, clinic_t.c.id == pair_t.c.clinic_id)
        rows = db.execute(query.where(pair_t.c.id.in_(some)))
        pairs |= {row.id: row for row in rows if sees(viewer, row.clinic_id)}
    mine = [each for each in found if each.pair in pairs]
    return [_row(each, pairs[each.pair]) for each in mine[:most]], len(mine)


def _chunks(ids: Iterable[int], size: int = 2000) -> Iterator[list[int]]:
    whole = sorted(ids)
    return (whole[first : first + size] for first in range(0, len(whole), size))


def _row(each: Found, pair: Any) -> Listed:
    return Listed(pair.code, pair.label, pair.name, each.on, each.words, pair.stage, pair.end)


def _found(db: Session, asked: Asked, zone: str, behind: Behind) -> Iterator[Found]:
    if behind.what == "missed":
        where = [*did("no_show", *asked.span(zone)), move_t.c.facts["what"].as_string() == "review"]
        yield from _moves(db, asked, zone, where)
    elif behind.what in FOLLOWED:
        yield from _reviews_due(db, asked, zone, behind.what)
    elif behind.month:
        yield from _of_month(db, asked, zone, behind.what, behind.month)
    else:
        yield from _moves(db, asked, zone, [*did(behind.what, *asked.span(zone)), *_narrow(behind)], behind.what)


def _moves(db: Session, asked: Asked, zone: str, where: Where, act: str = "") -> Iterator[Found]:
    place = move_t.c.facts["where"].as_string()
    query = select(move_t.c.pair_id, move_t.c.done_at, move_t.c.reason, move_t.c.from_stage, place)
    query = query.join(pair_t, pair_t.c.id == move_t.c.pair_id).where(*where)
    query = query if asked.clinic is None else query.where(pair_t.c.clinic_id == asked.clinic)
    for pair, done_at, reason, stage, made in db.execute(query):
        yield Found(pair, _day(done_at, zone), _words(act, reason, stage, made))


def _words(act: str, reason: str | None, stage: str | None, made: str | None) -> str:
    if act == "adjust":
        return "at the lab" if made == "lab" else "at the clinic"
    if not act:
        return ""
    at_stage = key_words(act, "stage", stage or NO_STAGE, {})
    return f"{key_words(act, 'reason', reason or UNSAID, {})}; {at_stage}"


def _narrow(behind: Behind) -> Where:
    """One bar of the acts of a kind."""
    key = behind.key
    if behind.what == "adjust" and behind.by in ("reason", "stage"):
        return _adjusted(key) if behind.by == "reason" else _adjusted_at(key)
    number = int(key) if key.isascii() and key.isdecimal() and len(key) < 10 else -1
    narrow: dict[str, Where] = {
        "": [],
        "reason": [func.coalesce(move_t.c.reason, UNSAID) == key],
        "stage": [func.coalesce(move_t.c.from_stage, NO_STAGE) == key],
        "shell": [func.coalesce(shell_then(), UNSAID) == key],
        "clinic": [pair_t.c.clinic_id == number],
    }
    return narrow[behind.by]


def _adjusted_at(key: str) -> Where:
    place, route = move_t.c.facts["where"].as_string(), cast(move_t.c.facts["route"], Text)
    if key == HERE:
        return [place != "lab"]
    return [place == "lab", route.contains(f'"{key}"', autoescape=True)]


def _adjusted(key: str) -> Where:
    place = move_t.c.facts["where"].as_string()
    if key == LAB:
        return [place == "lab"]
    mine = and_(adjustment_t.c.pair_id == move_t.c.pair_id, adjustment_t.c.move_id == move_t.c.id)
    if key == UNSAID:
        return [place != "lab", ~exists().where(mine)]
    zone, _, what = key.partition(".")
    return [exists().where(mine, adjustment_t.c.zone == zone, adjustment_t.c.what == what)]


def _of_month(db: Session, asked: Asked, zone: str, what: str, month: int) -> Iterator[Found]:
    """Behind a point: what of the month's pairs or reviews was sent back, adjusted or remade."""
    since, until = begins(month, zone), ends(month, zone)
    if what == "remake":
        for pair, dispensed in remade(db, asked, since, until):
            yield Found(pair, _day(dispensed, zone), "dispensed on that day, then remade")
    elif what == "send_back":
        sent_back = select(move_t.c.visit_id).where(*did("send_back", None, None))
        where = [*did("dispense", since, until), move_t.c.visit_id.in_(sent_back)]
        for each in _moves(db, asked, zone, where):
            yield each._replace(words="dispensed on that day, sent back before")
    else:
        held = (review_t.c.held_at >= since, review_t.c.held_at < until, review_t.c.outcome.in_(ADJUSTED))
        query = select(review_t.c.pair_id, review_t.c.held_at, review_t.c.outcome).where(*held)
        for pair, held_at, outcome in db.execute(at(asked, query, review_t.c.pair_id)):
            yield Found(pair, _day(held_at, zone), f"review held, {OUTCOMES[outcome]}")


def _reviews_due(db: Session, asked: Asked, zone: str, what: str) -> Iterator[Found]:
    state = {"kept": "held", "overdue": "open"}.get(what, "void")
    query = select(review_t.c.pair_id, review_t.c.due_on, review_t.c.held_at).where(
        *due(asked, zone), review_t.c.state == state
    )
    query = query.where(review_t.c.outcome == "close") if what == "lost" else query
    for pair, due_on, held_at in db.execute(at(asked, query, review_t.c.pair_id)):
        yield Found(
            pair, due_on, f"due on that day, held on {_written(held_at, zone)}" if held_at else "due on that day"
        )


def _written(at_: datetime, zone: str) -> str:
    day = _day(at_, zone)
    return f"{day:%a} {day.day} {day:%b}"


def _day(at_: datetime, zone: str) -> date:
    return at_.astimezone(ZoneInfo(zone)).date()
