"""The tables of turnaround as workbooks: what its pages show of the same months and pairs, at the same address."""

from collections.abc import Sequence
from datetime import datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app import clock
from app.exchange.queries import figures
from app.exchange.spreadsheets import SHEET, workbook
from app.people import queries as people
from app.people.permissions import need
from app.people.sessions import Signed
from app.turnaround.queries.coming_back import clinic_names
from app.turnaround.rules.asked import Asked, dashed, read_asked
from app.turnaround.rules.behind import read_behind
from app.turnaround.rules.narrowed import narrowed
from app.turnaround.rules.returned import PAGE, PAIRS
from app.turnaround.rules.tabled import Table
from app.web import to_be_saved

router = APIRouter(include_in_schema=False)


class _Lab(NamedTuple):
    name: str
    zone: str
    clinics: dict[int, str]


@router.get("/turnaround.xlsx")
def where_time_goes(request: Request, ask: Signed) -> Response:
    with ask.reading() as (viewer, db):
        need(viewer, "see_turnaround")
        lab = _lab(db)
        asked = read_asked(request.query_params, clock.today(lab.zone), lab.clinics)
        tables = figures.where_time_goes(db, asked)
    return _file(lab, asked, tables, "Where time goes")


@router.get("/turnaround/pairs.xlsx")
def pairs_of_a_time(request: Request, ask: Signed) -> Response:
    with ask.reading() as (viewer, db):
        need(viewer, "see_turnaround")
        lab = _lab(db)
        asked = read_asked(request.query_params, clock.today(lab.zone), lab.clinics)
        table = figures.pairs_of_a_time(db, asked, request.query_params)
    return _file(lab, asked, [table], "Pairs behind a time")


@router.get("/turnaround/late.xlsx")
def foretold(ask: Signed) -> Response:
    with ask.reading() as (viewer, db):
        need(viewer, "see_turnaround")
        lab = _lab(db)
        tables, made_at = figures.foretold(db), figures.foretold_at(db)
    words = f"{lab.name}: forecasts made on {_written(made_at.astimezone(ZoneInfo(lab.zone)))}."
    name = f"what-will-be-late-{made_at.date().isoformat()}.xlsx"
    return to_be_saved(workbook(tables, title="What will be late", words=words), SHEET, name)


@router.get(f"{PAGE}.xlsx")
def coming_back(request: Request, ask: Signed) -> Response:
    with ask.reading() as (viewer, db):
        need(viewer, "see_turnaround")
        lab = _lab(db)
        asked = narrowed(request.query_params, clock.today(lab.zone), lab.clinics)
        tables = figures.coming_back(db, asked, lab.zone, lab.clinics)
    return _file(lab, asked, tables, "Why pairs come back")


@router.get(f"{PAIRS}.xlsx")
def pairs_behind(request: Request, ask: Signed) -> Response:
    with ask.reading() as (viewer, db):
        need(viewer, "see_turnaround")
        lab = _lab(db)
        asked = narrowed(request.query_params, clock.today(lab.zone), lab.clinics)
        behind = read_behind(request.query_params)
        table = figures.pairs_behind(db, viewer, asked, lab.zone, behind, lab.clinics)
    return _file(lab, asked, [table], "Pairs that came back")


def _lab(db: Session) -> _Lab:
    row = people.lab(db)
    return _Lab(row.name, row.zone, clinic_names(db))


def _file(lab: _Lab, asked: Asked, tables: Sequence[Table], title: str) -> Response:
    period = asked.words(lab.clinics.get(asked.clinic or 0, ""))
    words = f"{lab.name}: {period}. Made on {_written(clock.now().astimezone(ZoneInfo(lab.zone)))}."
    name = f"{title.lower().replace(' ', '-')}-{dashed(asked.first)}-to-{dashed(asked.last)}.xlsx"
    return to_be_saved(workbook(tables, title=title, words=words), SHEET, name)


def _written(at: datetime) -> str:
    return f"{at.day} {at:%B %Y}, {at.hour}:{at:%M}"
