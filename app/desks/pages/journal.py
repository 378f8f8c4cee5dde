"""The journal for people: who did and saw what, in plain words, by person, kind, days, and pair or chart label."""

from collections.abc import Collection, Mapping
from datetime import date, datetime, time, timedelta
from typing import Any, NamedTuple
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.bench import queries
from app.bench.rules.machine import SIDE_WORDS
from app.bench.rules.materials import KINDS as LOT_KINDS
from app.bench.rules.settings import CHOICES
from app.capture import queries as captures
from app.desks.rules import read_day
from app.errors import NotFound
from app.fitting.rules.stance import KINDS as STANCE_KINDS
from app.journal import queries as journal
from app.journal.queries import EntryRow, Wanted
from app.journal.rules import BY_ITSELF, KINDS, details, told
from app.orders import queries as orders
from app.people import queries as people
from app.people.permissions import need
from app.people.queries import stations
from app.people.rules import Viewer
from app.people.sessions import Signed
from app.templating import page
from app.trade import codes
from app.watch.rules.kinds import KINDS as FLAGS
from app.watch.rules.settings import SETTINGS, title
from app.web import Typed

router = APIRouter(include_in_schema=False)
FILTERS = ("person", "kind", "from", "to", "about")
NOBODY = "Someone who was not signed in"
ITSELF = "Pairtrail"


class Line(NamedTuple):
    """An entry in words; `href` leads to what it is about."""

    who: str
    what: str
    of: str
    href: str
    more: list[str]
    words: str
    at: datetime


@router.get("/journal")
def journal_page(request: Request, ask: Signed) -> Response:
    """Only who may see it; what it tells of a wearer is the chart label, never the name."""
    typed = Typed((name, value.replace("\0", "")) for name, value in request.query_params.multi_items())
    wrong: dict[str, str] = {}
    with ask.reading() as (viewer, db):
        need(viewer, "see_journal")
        wanted, code = _wanted(db, viewer, typed, wrong)
        found = journal.Page([], False, False)
        if not wrong:
            found = journal.page(db, wanted, before=_number(typed, "before"), after=_number(typed, "after"))
        values = {
            "demo": people.lab(db).demo,
            "lines": _lines(db, found.rows),
            "people": [(str(each.id), each.name) for each in people.staff(db)],
        }
    shown = {name: typed[name] for name in FILTERS if typed.get(name)}
    return page(
        request,
        "desks/journal.html",
        viewer=viewer,
        status=422 if wrong else 200,
        typed=typed,
        errors=wrong,
        kinds=sorted(((what, kind.words.rstrip(":")) for what, kind in KINDS.items()), key=lambda each: each[1]),
        code=code,
        filtered=bool(shown),
        newer=_address(shown, "after", found.rows[0].id) if found.newer and found.rows else "",
        older=_address(shown, "before", found.rows[-1].id) if found.older and found.rows else "",
        **values,
    )


def _address(shown: Mapping[str, str], side: str, number: int) -> str:
    return f"/journal?{urlencode({**shown, side: number})}"


def _number(typed: Typed, name: str) -> int | None:
    raw = typed.get(name, "")
    return int(raw) if raw.isascii() and raw.isdecimal() and len(raw) < 10 else None


def _wanted(db: Session, viewer: Viewer, typed: Typed, wrong: dict[str, str]) -> tuple[Wanted, str]:
    """What the filters ask for, and the code of the pair if it is one pair that is asked about."""
    since, until = (read_day(typed.get(name, "").strip(), name, wrong) for name in ("from", "to"))
    if since and until and until < since:
        wrong["to"] = "The last day is before the first."
    about, code = _about(db, viewer, typed.get("about", "").strip(), wrong)
    kind = typed.get("kind", "")
    wanted = Wanted(
        staff_id=_number(typed, "person"),
        what=kind if kind in KINDS else None,
        since=_start(since, viewer.zone) if since else None,
        until=_start(until + timedelta(days=1), viewer.zone) if until else None,
        about=about,
    )
    return wanted, code


def _start(day: date, zone: str) -> datetime:
    return datetime.combine(day, time(), ZoneInfo(zone))


def _about(
    db: Session, viewer: Viewer, text: str, wrong: dict[str, str]
) -> tuple[dict[str, Collection[int]] | None, str]:
    """Everything that the log may name where a pair, or a wearer of this chart label, is meant: ids by subject."""
    if not text:
        return None, ""
    code, patient_ids, order_ids = "", [], []
    if codes.is_code_like(text):
        try:
            loaded = queries.find(db, text, viewer)
        except NotFound as refusal:
            wrong["about"] = refusal.sentence
        else:
            code, patient_ids, order_ids = loaded.state.code, [loaded.row["patient_id"]], [loaded.row["order_id"]]
    else:
        patient_ids, order_ids = orders.called(db, text)
        if not patient_ids:
            wrong["about"] = f"No pair has the code, and no wearer the chart label '{text[:40]}'."
    pair_ids, parcel_ids = queries.travelled(db, order_ids)
    capture_ids, arrival_ids = captures.behind(db, patient_ids, order_ids)
    about: dict[str, Collection[int]] = {
        "pair": pair_ids,
        "order": order_ids,
        "patient": patient_ids,
        "capture": capture_ids,
        "arrival": arrival_ids,
        "parcel": parcel_ids,
    }
    return about, code


def _lines(db: Session, rows: list[EntryRow]) -> list[Line]:
    """The entries in words: one query for each sort of thing that they name, however many there are."""
    clinics = {clinic.id: clinic.name for clinic in people.clinics(db)}
    subjects = _subjects(db, rows, clinics)
    holders = {row.facts[name] for row in rows for name in ("badge_of", "to") if name in row.facts}
    staff = people.staff_names(db, {row.staff_id for row in rows if row.staff_id} | holders)
    words = orders.words(db, [row.facts["note"] for row in rows if "note" in row.facts])
    names: dict[str, Mapping[Any, str]] = {
        "clinic": clinics,
        "clinics": clinics,
        "badge_of": staff,
        "to": staff,
        "sides": SIDE_WORDS,
        "kind": {key: flag.title for key, flag in FLAGS.items()}
        | {key: kind.words for key, kind in LOT_KINDS.items()}
        | {key: kind.label.lower() for key, kind in STANCE_KINDS.items()},
        "fields": {name: f"{title(each)}, {each.unit} {each.words}" for name, each in SETTINGS.items()}
        | {name: choice.label for name, choice in CHOICES.items()},
    }
    return [
        Line(
            ITSELF if row.what in BY_ITSELF else staff.get(row.staff_id or 0, NOBODY),
            told(row.what),
            *subjects.get((row.subject, row.subject_id), ("", "")),
            details(row.what, row.facts, names),
            words.get(row.facts.get("note", 0), ""),
            row.at,
        )
        for row in rows
    ]


def _subjects(
    db: Session, rows: list[EntryRow], clinics: Mapping[int, str]
) -> dict[tuple[str | None, int | None], tuple[str, str]]:
    """Words and address of what entries are about, by subject and id."""
    ids: dict[str, set[int]] = {}
    for row in rows:
        if row.subject and row.subject_id is not None:
            ids.setdefault(row.subject, set()).add(row.subject_id)
    of = {subject: ids.get(subject, set()) for subject in ("pair", "order", "patient", "capture", "staff")}
    owners = captures.whose(db, of["capture"])
    labels = orders.labels(db, of["patient"] | {patient for patient, _ in owners.values()})
    pairs, placed = queries.codes_of(db, of["pair"]), queries.codes_of(db, of["order"], by="order_id")
    found: dict[tuple[str | None, int | None], tuple[str, str]] = {("lab", 1): ("the lab", "/lab")}
    for subject, each in (("pair", pairs), ("order", placed)):
        found |= {(subject, key): (", ".join(those), f"/pair/{those[0]}") for key, those in each.items()}
    found |= {("patient", key): (label, f"/find?{urlencode({'q': label})}") for key, label in labels.items()}
    for key, (patient, side) in owners.items():
        found["capture", key] = f"{labels[patient]}, {SIDE_WORDS[side]}", ""
    found |= {("staff", key): (name, f"/people/{key}") for key, name in people.staff_names(db, of["staff"]).items()}
    called = queries.lot_names(db, lots=ids.get("lot", ()), materials=ids.get("material", ()))
    found |= {("lot", key): (name, f"/materials/lots/{key}") for key, name in called["lot"].items()}
    found |= {("material", key): (name, f"/materials/{key}") for key, name in called["material"].items()}
    tablets = stations.station_names(db, ids.get("station", ()))
    found |= {("station", key): (name, "/people/tablets") for key, name in tablets.items()}
    found |= {("clinic", key): (name, "/lab") for key, name in clinics.items()}
    found |= {
        (subject, key): (f"{subject} {key}", "")
        for subject in ("arrival", "parcel", "sheet", "start")
        for key in ids.get(subject, ())
    }
    return found
