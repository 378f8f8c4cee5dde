"""What stands on each sheet, in the words it is printed in. How paper is made is known in app/paperwork/sheets.py.

A sheet goes through many hands, so no wearer's name and no diagnosis is ever handed out here: the chart label is all.
"""

from app.paperwork.queries.figures import SHEETS, Batch, batch, labels, press_words, route_figures, stage_figures
from app.paperwork.queries.order import box_order
from app.paperwork.queries.parcel import slip
from app.paperwork.queries.receipt import receipt
from app.paperwork.queries.report import read_month, report
from app.paperwork.queries.ticket import ticket
from app.paperwork.queries.wearing import is_link_of, language_of, wearing_events, wearing_sheet

__all__ = [
    "SHEETS",
    "Batch",
    "batch",
    "box_order",
    "is_link_of",
    "labels",
    "language_of",
    "press_words",
    "read_month",
    "receipt",
    "report",
    "route_figures",
    "slip",
    "stage_figures",
    "ticket",
    "wearing_events",
    "wearing_sheet",
]
