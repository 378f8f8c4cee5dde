"""How long does a job ticket take as a PDF, once everything is warm, against the same ticket drawn with fpdf2?"""

import io
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from statistics import median

import segno
from fontTools.ttLib import TTFont  # type: ignore[import-untyped]
from fontTools.varLib.instancer import instantiateVariableFont  # type: ignore[import-untyped]
from fpdf import FPDF
from sqlalchemy import select

from app import clock
from app.bench import queries as bench
from app.bench.queries import pair_t
from app.main import calm_the_collector
from app.paperwork import queries, sheets
from app.paperwork.pages import TICKET_FITS
from app.paperwork.queries.ticket import Ticket
from app.people.rules import Role, Viewer
from tests.speed import measured
from tests.speed.measured import Lab
from tests.speed.report import Line

TIMES = 15


def ticket(lab: Lab) -> Iterator[Line]:
    zone = "Europe/London"
    manager = Viewer(1, "Reader", frozenset({Role.MANAGER}), frozenset(), zone)
    with measured.opened(lab.file) as database, database.reading() as db:
        code = db.execute(select(pair_t.c.code).where(pair_t.c.stage == lab.stage).limit(1)).scalar_one()
        shown = queries.ticket(db, bench.find(db, code, manager))
    fonts = _fonts()
    calm_the_collector()  # as in a server

    def ours() -> bytes:
        values = {"ticket": shown, "qr": sheets.qr(shown.payload), "zone": zone, "printed": clock.now()}
        return sheets.pdf("ticket.html", fits=TICKET_FITS, **values)

    mine, theirs = _median(ours), _median(lambda: _drawn(shown, fonts))
    work = "job ticket as PDF, warm"
    yield Line(work, f"{mine * 1000:.0f} ms", f"drawn with fpdf2 {theirs * 1000:.0f} ms", mine / theirs, 2, most=True)


def _median(make: Callable[[], bytes]) -> float:
    taken = []
    for number in range(TIMES + 2):
        start = time.perf_counter()
        assert make().startswith(b"%PDF")
        if number > 1:
            taken.append(time.perf_counter() - start)
    return median(taken)


def _fonts() -> dict[str, Path]:
    """The ticket's own faces as fpdf2 can read them: plain TrueType files of one weight each, made once."""
    made = {}
    for style, weight in (("", 400), ("B", 700)):
        path = measured.HOME / f"next-{weight}.ttf"
        if not path.exists():
            path.parent.mkdir(parents=True, exist_ok=True)
            font = TTFont(sheets.STATIC / "vendor/atkinson-next/latin.woff2")
            plain = instantiateVariableFont(font, {"wght": weight})
            plain.flavor = None
            plain.save(path)
        made[style] = path
    return made


def _drawn(ticket: Ticket, fonts: dict[str, Path]) -> bytes:
    """The same words, table, route and QR code on A5, placed by hand."""
    pdf = FPDF(format=(148, 210))
    for style, path in fonts.items():
        pdf.add_font("next", style, path)
    pdf.add_page()
    pdf.set_font("next", "B", 22)
    pdf.cell(0, 10, ticket.code, new_x="LMARGIN", new_y="NEXT")
    pdf.set_font("next", "", 9)
    day = f"{ticket.day:%a %d %b}" if ticket.day else "No day yet"
    head = (ticket.label, ticket.clinic, ticket.visit, f"Prescription version {ticket.prescription}", day, ticket.shoe)
    for words in (*head, *ticket.marks):
        pdf.cell(0, 5, words, new_x="LMARGIN", new_y="NEXT")
    code = io.BytesIO()
    segno.make_qr(ticket.payload, error="m").save(code, kind="png", scale=8, border=4)
    pdf.image(code, x=110, y=8, w=28)
    with pdf.table(width=126, line_height=5) as table:
        table.row(("LEFT", "", "RIGHT"))
        for line in ticket.lines:
            table.row((line.left or "none", line.label, line.right or "none"))
    for step in ticket.steps:
        pdf.cell(0, 4.5, f"{step.number} {step.words}: {step.left}, {step.right}", new_x="LMARGIN", new_y="NEXT")
    for note in ticket.notes:
        pdf.multi_cell(0, 4.5, f"{note.number} {note.stage}: {note.words}", new_x="LMARGIN", new_y="NEXT")
    pdf.set_font("next", "", 7)
    for words in (*ticket.cautions, "An old ticket moves nothing: scanned, it says which version holds.", ticket.lab):
        pdf.multi_cell(0, 3.5, words, new_x="LMARGIN", new_y="NEXT")
    return bytes(pdf.output())
