"""The clinician's reviews, due and overdue by day, with the wishes and rechecks beside them."""

from datetime import date
from itertools import groupby

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app import clock
from app.errors import BadInput
from app.fitting import actions, queries
from app.fitting.queries import DueRow, at_home
from app.fitting.queries.together import beside
from app.fitting.rules import wearer
from app.fitting.rules.plan import hours_words
from app.fitting.rules.review import RED_FLAGS
from app.fitting.tables import WearerNote
from app.people import queries as people
from app.people.permissions import need
from app.people.sessions import Signed
from app.templating import day_words, go, page

router = APIRouter()
LIMIT = 100


@router.get("/reviews")
def reviews(request: Request, ask: Signed, after: str | None = None) -> Response:
    with ask.reading() as (viewer, db):
        need(viewer, "see_patient")
        lab = people.lab(db)
        today = clock.today(lab.zone)
        rows = queries.reviews_due(db, viewer.clinics, _read_after(after), LIMIT + 1)
        wishes = queries.wishes_waiting(db, viewer.clinics)
        told = at_home.told_last(db, [row.pair_id for row in rows])
        rechecks = queries.rechecks_due(db, viewer.clinics, today + queries.SOON)
        clinics = {clinic.id: clinic.name for clinic in people.clinics(db)}
    following = f"/reviews?after={rows[LIMIT - 1].due_on}_{rows[LIMIT - 1].id}" if len(rows) > LIMIT else ""
    flagged = [(w.code, w.label, w.noted_at, [RED_FLAGS[flag] for flag in w.red_flags]) for w in wishes]
    return page(
        request,
        "fitting/reviews.html",
        viewer=viewer,
        demo=lab.demo,
        today=today,
        days=by_day(rows[:LIMIT], today),
        beside=beside(rows),
        wishes=sorted(flagged, key=lambda wish: not wish[3]),
        rechecks=rechecks,
        told={pair_id: told_words(notes) for pair_id, notes in told.items()},
        clinics=clinics if len(viewer.clinics) > 1 else {},
        next=following,
        after=after,
    )


def told_words(notes: list[WearerNote]) -> tuple[str, str]:
    """What the wearer noted at home, in a line: its kind, and how many days with the latest of them."""
    last = notes[0]
    day = wearer.Day(0, last.minutes, last.comfort, last.skin)
    days = f"{len(notes)} days" if len(notes) > 1 else "1 day"
    words = f"noted at home on {days}; {day_words(last.day)}: {wearer.day_words(day, hours_words)}"
    if any(note.flagged_at and not note.cleared_at for note in notes):
        return "stop", f"red flag: {wearer.FLAG_WORDS}; {words}"
    return ("wait" if last.comfort == wearer.WORST and not last.cleared_at else "tell"), words


def by_day(rows: list[DueRow], today: date) -> list[tuple[str, list[DueRow]]]:
    """Overdue ones together, then day by day."""

    def title(row: DueRow) -> str:
        if row.due_on < today:
            return "Overdue"
        return f"{'Today, ' if row.due_on == today else ''}{day_words(row.due_on, today)}"

    return [(words, list(group)) for words, group in groupby(rows, title)]


def _read_after(text: str | None) -> tuple[date, int] | None:
    if text is None:
        return None
    day, _, last = text.partition("_")
    try:
        return date.fromisoformat(day), min(int(last), people.LARGEST_ID)
    except ValueError:
        raise BadInput("This link is not one that Pairtrail gave out.", {"after": "Start again without it."}) from None


@router.post("/rechecks/{recheck_id}")
def hold_recheck(recheck_id: int, ask: Signed) -> Response:
    with ask.writing() as (viewer, db):
        need(viewer, "see_patient")
        code = actions.hold_recheck(db, recheck_id=recheck_id, by=viewer)
    return go("/reviews", f"{code}: the wearer was seen.")
