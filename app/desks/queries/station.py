"""A pair as a bench is shown it, what it holds for when the network is gone, and how its day goes."""

from collections import Counter
from collections.abc import Sequence
from datetime import date, datetime, time
from typing import NamedTuple
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app import clock
from app.bench import queries as bench
from app.bench.queries import StationRow
from app.bench.rules import station
from app.bench.rules.stages import STAGES
from app.bench.rules.station import MOST_HELD, Shown, Standing
from app.desks.queries import here_words, own, owner_roles, working_words
from app.errors import NotFound
from app.orders.rules import MATERIALS
from app.paperwork.queries import batch, press_words
from app.people import queries as people
from app.people.permissions import may
from app.people.rules import Viewer
from app.trade.units import length_words


def look(db: Session, code: str, viewer: Viewer, stage: str, ticket: int | None = None) -> Shown:
    """The pair with this code, as a bench of this stage is to see it; another clinic's is not found."""
    row = bench.at_station(db, code)
    if row is None or not bench.sees(viewer, row.clinic_id):
        raise NotFound(f"There is no pair {code} here.")
    (shown,) = _shown(db, [row], viewer, stage)
    if ticket is not None and ticket != shown.ticket:
        words = station.OLD_TICKET.format(ticket=ticket, holds=shown.ticket)
        return shown._replace(kind="old_ticket", sentence=words, button="")
    return shown


def held(db: Session, viewer: Viewer, stage: str) -> list[Shown]:
    """The open pairs of a stage, for a bench to work from while the network is gone."""
    return _shown(db, bench.held_by_station(db, stage, clinics=own(viewer), most=MOST_HELD), viewer, stage)


def _shown(db: Session, rows: Sequence[StationRow], viewer: Viewer, stage: str) -> list[Shown]:
    """For rows that all stand at the same stage, so that what it needs is asked once."""
    now, zone = clock.now(), ZoneInfo(viewer.zone)
    at = rows[0].stage or "" if rows else ""
    lots = bench.lots_for(db, at) if may(viewer, "see_materials") else []
    bodies = bench.bodies_of(db, [row.id for row in rows]) if at == "press" or bench.depends(lots) else {}
    heat = press_words(db, bodies) if at == "press" else {}
    noted = bench.noted(rows, lots, bodies, at, clock.today(viewer.zone))
    shown = []
    for row in rows:
        use = noted.get(row.id, bench.NOTHING)
        pair = _pair(row, viewer, stage, (*row.needs, *heat.get(row.id, ()), *use.words, *use.missed), now, zone)
        shown.append(pair._replace(lots=use.lots))
    return shown


def _pair(row: StationRow, viewer: Viewer, stage: str, needs: tuple[str, ...], now: datetime, zone: ZoneInfo) -> Shown:
    setting = row.not_before if row.not_before and row.not_before > now else None
    mine = bool(row.stage) and viewer.at(row.clinic_id).has(*owner_roles(str(row.stage), row.place, row.by_parcel))
    standing = Standing(row.stage, row.end, row.place, row.parked_on, setting, mine)
    kind, sentence = station.answer(standing, stage, f"{setting.astimezone(zone):%H:%M}" if setting else "", now)
    return Shown(
        row.code,
        row.label,
        row.clinic,
        row.tray,
        "".join(side for side, at in (("L", row.left_stage), ("R", row.right_stage)) if at and at == row.stage),
        working_words(row, row.stage) if row.stage else "",
        needs,
        row.rush,
        row.version,
        row.ticket,
        row.stage,
        kind,
        sentence,
        STAGES[row.stage].done if row.stage and kind == "here" else "",
        setting,
        station.ahead(row.route, row.stage) if row.stage else (),
    )


class Day(NamedTuple):
    """How it goes at a bench today, in words and numbers."""

    waiting: int
    setting: int
    parked: int
    done: int
    oldest: str
    oven: str
    """What the next oven load would hold; empty elsewhere than at the press."""


def day(db: Session, viewer: Viewer, stage: str) -> Day:
    count = bench.counts(db, clinics=own(viewer)).get(stage)
    calendar, now = people.work_calendar(db), clock.now()
    today = clock.today(viewer.zone)
    morning = datetime.combine(today, time(), ZoneInfo(viewer.zone))
    done = bench.left_since(db, stage, morning, today.year * 100 + today.month)
    if count is None:
        return Day(0, 0, 0, done, "", "")
    oldest = here_words(stage, count.oldest, now, calendar) if count.pairs else ""
    oven = _next_load(db, today) if stage == "press" else ""
    return Day(count.pairs, count.setting, count.parked, done, oldest, oven)


def _next_load(db: Session, today: date) -> str:
    """The sheet that most of the first pairs in the queue need, and how many shells of it."""
    sheets = Counter((row.material, row.thickness_mm) for row in batch(db, "oven", [], today).rows)
    if not sheets:
        return ""
    (material, thick), shells = sheets.most_common(1)[0]
    sheet = f"{MATERIALS.get(material, material)} {length_words(thick * 10) if thick else ''}".strip()
    return f"{shells} × {sheet}"
