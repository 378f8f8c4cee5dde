"""The doors to paper, each as a PDF or as a page to print.

The order that goes into the box with the casts, job ticket, wearing-in sheet, parcel slip, the pour sheets and oven
loads of several pairs, a bench's cards, and a month's report.
"""

from typing import Any
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, Response

from app import clock
from app.bench import queries as bench
from app.bench.rules import cards
from app.bench.rules.cutting import stock_again
from app.bench.rules.machine import SIDE_WORDS
from app.bench.rules.settings import from_plain
from app.bench.rules.sheets import given_again, worked_out
from app.bench.rules.stages import STAGES
from app.errors import BadInput, NotFound
from app.paperwork import queries, sheets
from app.paperwork.queries import SHEETS
from app.people import queries as people
from app.people.permissions import need
from app.people.sessions import Ask, Signed
from app.templating import page
from app.trade import plaster
from app.trade.calendars import calendar_file
from app.trade.sentences import ENGLISH, SIZES
from app.web import WEARERS, Form

router = APIRouter(include_in_schema=False)
TICKET_FITS: tuple[dict[str, Any], ...] = (
    {"fit": "roomy", "longest": 0},
    {"fit": "snug", "longest": 0},
    {"fit": "tight", "longest": 0},
    {"fit": "tight", "longest": 160},
    {"fit": "tight", "longest": 60},
    {"fit": "snug", "longest": None},
    {"fit": "tight", "longest": None},
)
"""A ticket is one page: smaller type first; only then are long notes cut or left to the pair's page, and it says so."""

WEARING = {"usual": "wearing.html", "large": "wearing_large.html"}
"""The wearing-in sheet by its size."""

SLIP_FITS: tuple[dict[str, Any], ...] = ({"fit": "roomy"}, {"fit": "snug"})
"""Rows move closer together before a slip takes a second page."""


@router.get("/paper/{code}/ticket.pdf")
def ticket_pdf(request: Request, code: str, ask: Signed) -> Response:
    values = _ticket(ask, code)
    name = f"job-ticket-{values['ticket'].code}-prescription-{values['ticket'].prescription}.pdf"
    return _pdf(request, "ticket.html", name, f"/paper/{values['ticket'].code}/ticket", values, TICKET_FITS)


@router.get("/paper/{code}/ticket")
def ticket_page(code: str, ask: Signed) -> Response:
    """The same ticket for the browser's own print."""
    return HTMLResponse(sheets.html("ticket.html", **TICKET_FITS[1], **_ticket(ask, code)))


def _ticket(ask: Ask, code: str) -> dict[str, Any]:
    with ask.reading() as (viewer, db):
        loaded = bench.find(db, code, viewer)
        need(viewer, "print_paper", loaded.row["clinic_id"])
        ticket = queries.ticket(db, loaded)
    return {"ticket": ticket, "qr": sheets.qr(ticket.payload), "zone": viewer.zone, "printed": clock.now()}


@router.get("/paper/{code}/order.pdf")
def order_pdf(request: Request, code: str, ask: Signed) -> Response:
    values = _order(ask, code)
    code = values["order"].code
    return _pdf(request, "order.html", f"order-{code}.pdf", f"/paper/{code}/order", values)


@router.get("/paper/{code}/order")
def order_page(code: str, ask: Signed) -> Response:
    return HTMLResponse(sheets.html("order.html", **_order(ask, code)))


def _order(ask: Ask, code: str) -> dict[str, Any]:
    with ask.reading() as (viewer, db):
        loaded = bench.find(db, code, viewer)
        need(viewer, "print_paper", loaded.row["clinic_id"])
        order = queries.box_order(db, loaded, viewer.zone)
    return {"order": order, "qr": sheets.qr(order.code), "zone": viewer.zone, "printed": clock.now()}


@router.get("/paper/{code}/wearing.pdf")
def wearing_pdf(request: Request, code: str, ask: Signed, language: str = ENGLISH.key, size: str = "usual") -> Response:
    return _wearing_pdf(request, _wearing(ask, code, language, size))


@router.post("/paper/{code}/wearing.pdf")
def wearing_pdf_with_link(request: Request, code: str, ask: Signed, form: Form) -> Response:
    """The sheet with the link to the wearer's own page: its secret is known for this one moment, so it is sent along.

    In an address it would stand in the browser's history.
    """
    secret, language = form.get("secret", ""), form.get("language", ENGLISH.key)
    values = _wearing(ask, code, language, form.get("size", "usual"), secret)
    if not secret:
        return _wearing_pdf(request, values)
    link = f"{request.base_url}{WEARERS.removeprefix('/')}{secret}"
    link += "" if language == ENGLISH.key else f"?language={language}"
    return _wearing_pdf(request, values | {"link": link, "link_qr": sheets.drawn(link)})


@router.get("/paper/{code}/wearing")
def wearing_page(code: str, ask: Signed, language: str = ENGLISH.key, size: str = "usual") -> Response:
    values = _wearing(ask, code, language, size)
    return HTMLResponse(sheets.html(WEARING[values["size"]], **values))


@router.get("/paper/{code}/wearing.ics")
def wearing_calendar(code: str, ask: Signed, language: str = ENGLISH.key) -> Response:
    """For the wearer's calendar: no name, no label and no code stand in it."""
    said = queries.language_of(language)
    with ask.reading() as (viewer, db):
        loaded = bench.find(db, code, viewer)
        need(viewer, "print_paper", loaded.row["clinic_id"])
        rows = queries.wearing_events(db, loaded, clock.today(viewer.zone), said)
    made = calendar_file(rows, name=said.say("title"))
    saved_as = {"content-disposition": 'attachment; filename="hours.ics"'}
    return Response(made, media_type="text/calendar", headers=saved_as)


def _wearing(ask: Ask, code: str, language: str, size: str, secret: str = "") -> dict[str, Any]:
    said = queries.language_of(language)
    if size not in WEARING:
        words = f"The sheet is printed in one of {', '.join(SIZES)}; '{size[:20]}' is none of them."
        raise BadInput(words, {"size": words})
    with ask.reading() as (viewer, db):
        loaded = bench.find(db, code, viewer)
        need(viewer, "print_paper", loaded.row["clinic_id"])
        if secret and not queries.is_link_of(db, loaded, secret):
            raise NotFound("This link opens nothing any more; make a new one on the pair’s page.")
        sheet = queries.wearing_sheet(db, loaded, clock.today(viewer.zone), said)
    printed = said.moment(clock.now().astimezone(ZoneInfo(viewer.zone)))
    return {"sheet": sheet, "say": said.say, "zone": viewer.zone, "printed": printed, "size": size, "link": ""}


def _wearing_pdf(request: Request, values: dict[str, Any]) -> Response:
    code, size, said = values["sheet"].code, values["size"], values["sheet"].language
    name = f"wearing-in-{code}{'' if said is ENGLISH else '-' + said.key}{'' if size == 'usual' else '-' + size}.pdf"
    instead = f"/paper/{code}/wearing?language={said.key}&size={size}"
    return _pdf(request, WEARING[size], name, instead, values)


@router.get("/paper/{code}/receipt.pdf")
def receipt_pdf(request: Request, code: str, ask: Signed) -> Response:
    values = _receipt(ask, code)
    code = values["receipt"].code
    return _pdf(request, "receipt.html", f"receipt-{code}.pdf", f"/paper/{code}/receipt", values)


@router.get("/paper/{code}/receipt")
def receipt_page(code: str, ask: Signed) -> Response:
    return HTMLResponse(sheets.html("receipt.html", **_receipt(ask, code)))


def _receipt(ask: Ask, code: str) -> dict[str, Any]:
    """It is the clinic's paper: the bench has no use for it."""
    with ask.reading() as (viewer, db):
        loaded = bench.find(db, code, viewer)
        need(viewer, "see_patient", loaded.row["clinic_id"])
        receipt = queries.receipt(db, loaded, clock.today(viewer.zone))
    return {"receipt": receipt, "zone": viewer.zone, "printed": clock.now()}


@router.get("/paper/parcel/{parcel_id}/slip.pdf")
def slip_pdf(request: Request, parcel_id: int, ask: Signed) -> Response:
    values, instead = _slip(ask, parcel_id), f"/paper/parcel/{parcel_id}/slip"
    return _pdf(request, "slip.html", f"parcel-{parcel_id}.pdf", instead, values, SLIP_FITS)


@router.get("/paper/parcel/{parcel_id}/slip")
def slip_page(parcel_id: int, ask: Signed) -> Response:
    return HTMLResponse(sheets.html("slip.html", **SLIP_FITS[0], **_slip(ask, parcel_id)))


def _slip(ask: Ask, parcel_id: int) -> dict[str, Any]:
    with ask.reading() as (viewer, db):
        slip = queries.slip(db, viewer, parcel_id)
        need(viewer, "print_paper", slip.clinic.id)
    return {"slip": slip, "qr": sheets.qr(slip.payload), "zone": viewer.zone, "printed": clock.now()}


@router.get("/paper/sheet/{sheet_id}/printed.pdf")
def batch_pdf(request: Request, sheet_id: int, ask: Signed) -> Response:
    values, instead = _batch(ask, sheet_id), f"/paper/sheet/{sheet_id}/printed"
    kind = values["kind"]
    return _pdf(request, f"{kind}.html", f"{kind}-sheet-{sheet_id}.pdf", instead, values)


@router.get("/paper/sheet/{sheet_id}/printed")
def batch_page(sheet_id: int, ask: Signed) -> Response:
    values = _batch(ask, sheet_id)
    return HTMLResponse(sheets.html(f"{values['kind']}.html", **values))


def _batch(ask: Ask, sheet_id: int) -> dict[str, Any]:
    """A sheet for several pairs, drawn again from what it was first printed from."""
    with ask.reading() as (viewer, db):
        need(viewer, "work_out_sheets")
        kept = bench.printed_sheet(db, sheet_id)
        rows, settings = given_again(kept.given), from_plain(kept.settings)
        values = {"kind": kept.kind, "number": kept.id, "printed": kept.printed_at, "settings": settings}
        values |= {"labels": queries.labels(db, kept.codes), "by": people.staff_names(db, [kept.printed_by])}
        values |= {"lab": people.lab(db).name, "cautions": STAGES[SHEETS[kept.kind]].cautions}
    made = worked_out(kept.kind, rows, settings, stock_again(kept.stock, kept.settings))
    words = plaster.CLASSES[settings.plaster_class].words
    return values | {"made": made, "plaster_words": words, "zone": viewer.zone, "side_words": SIDE_WORDS}


@router.get("/paper/report/{month}.pdf")
def report_pdf(request: Request, month: str, ask: Signed) -> Response:
    """A month's figures for managers, such as /paper/report/2026-10.pdf."""
    return _pdf(request, "report.html", f"report-{month}.pdf", f"/paper/report/{month}", _report(ask, month))


@router.get("/paper/report/{month}")
def report_page(month: str, ask: Signed) -> Response:
    return HTMLResponse(sheets.html("report.html", **_report(ask, month)))


def _report(ask: Ask, month: str) -> dict[str, Any]:
    with ask.reading() as (viewer, db):
        need(viewer, "see_turnaround")
        report = queries.report(db, queries.read_month(month))
    return {"report": report, "zone": viewer.zone, "printed": report.made_at}


@router.get("/paper/cards.pdf")
def cards_pdf(request: Request, ask: Signed, card: list[str] = Query([])) -> Response:
    """The cards with these payloads; without any, all of this lab."""
    instead = f"/paper/cards?{request.url.query}"
    return _pdf(request, "cards.html", "bench-cards.pdf", instead, _cards(ask, card))


@router.get("/paper/cards")
def cards_page(ask: Signed, card: list[str] = Query([])) -> Response:
    return HTMLResponse(sheets.html("cards.html", **_cards(ask, card)))


def _cards(ask: Ask, chosen: list[str]) -> dict[str, Any]:
    with ask.reading() as (viewer, db):
        need(viewer, "print_cards")
        lab = people.lab(db)
    groups = cards.offered(lab.stages_on, lab.marks_start)
    found = [each for group in groups for each in group.cards if not chosen or each.payload in chosen]
    if not found:
        raise NotFound("This lab has none of these cards; choose some at /bench/cards.")
    return {"cards": [(each, sheets.qr(each.payload)) for each in found]}


def _pdf(
    request: Request,
    template: str,
    name: str,
    instead: str,
    values: dict[str, Any],
    fits: tuple[dict[str, Any], ...] = ({},),
) -> Response:
    """The sheet under the name it is saved by; where PDFs can't be made, a page that leads to `instead`."""
    try:
        made = sheets.pdf(template, fits=fits, **values)
    except sheets.NoPdf:
        return page(request, "paperwork/no_pdf.html", viewer=request.state.viewer, status=503, instead=instead)
    return Response(made, media_type="application/pdf", headers={"content-disposition": f'inline; filename="{name}"'})
