"""The doors to paper: the job ticket (PDF, or a page to print from the browser) and the parcel slip."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from app import clock
from app.bench import queries as bench
from app.paperwork import queries, sheets
from app.people.permissions import need
from app.people.sessions import Ask, Signed
from app.templating import page

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


@router.get("/paper/parcel/{parcel_id}/slip.pdf")
def slip_pdf(request: Request, parcel_id: int, ask: Signed) -> Response:
    return _pdf(
        request, "slip.html", f"parcel-{parcel_id}.pdf", f"/paper/parcel/{parcel_id}/slip", _slip(ask, parcel_id)
    )


@router.get("/paper/parcel/{parcel_id}/slip")
def slip_page(parcel_id: int, ask: Signed) -> Response:
    return HTMLResponse(sheets.html("slip.html", **_slip(ask, parcel_id)))


def _slip(ask: Ask, parcel_id: int) -> dict[str, Any]:
    with ask.reading() as (viewer, db):
        slip = queries.slip(db, viewer, parcel_id)
        need(viewer, "print_paper", slip.clinic.id)
    return {"slip": slip, "qr": sheets.qr(slip.payload), "zone": viewer.zone, "printed": clock.now()}


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
