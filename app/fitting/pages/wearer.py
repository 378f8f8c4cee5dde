"""The wearer's own page: opened by its secret address alone, without signing in, cookies or scripts.

Nothing on it says who the wearer is. Whatever is wrong with an address, the answer is the same.
"""

from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session

from app import clock
from app.database import Database
from app.errors import BadInput, NotFound, Refusal, TooManyTries
from app.fitting import actions, queries
from app.fitting.queries import at_home, together
from app.fitting.queries.at_home import Opened
from app.fitting.queries.together import Hours
from app.fitting.rules import wearer
from app.fitting.rules.plan import hours_words
from app.fitting.rules.takeaway import events
from app.people import queries as people
from app.templating import page
from app.trade.calendars import calendar_file
from app.trade.sentences import ENGLISH, LANGUAGES, Language
from app.web import WEARERS, Form

router = APIRouter(prefix=WEARERS.removesuffix("/"))
AHEAD = 7
"""Days to come that the page shows."""


@router.get("/{secret}")
def own_page(request: Request, secret: str, language: str = ENGLISH.key) -> Response:
    said = _language(language)
    try:
        with _database(request).reading() as db:
            found = actions.open_page(db, secret=secret, address=_address(request))
            values = _values(db, found, said)
    except (NotFound, TooManyTries) as refusal:
        return _closed(request, refusal, said)
    values |= {"address": f"{WEARERS}{secret}", "language": said, "others": _others(said)}
    return page(request, "fitting/wearer.html", **values)


@router.post("/{secret}")
def note(request: Request, secret: str, form: Form) -> Response:
    """One tap: one answer of today's note."""
    said, database, address = _language(form.get("language", "")), _database(request), _address(request)
    name, value = next(((key, text) for key, text in form.items() if key != "language"), ("", ""))
    try:
        with database.reading() as db:
            actions.open_page(db, secret=secret, address=address)
        with database.writing() as db:
            actions.count_note(db, secret=secret, address=address)
        with database.writing() as db:
            actions.note(db, secret=secret, address=address, name=name, value=value)
    except (NotFound, TooManyTries) as refusal:
        return _closed(request, refusal, said)
    except BadInput:
        pass  # no button of the page sends this: it is shown as it is
    return RedirectResponse(f"{WEARERS}{secret}?language={said.key}#note", status_code=303)


@router.get("/{secret}/calendar.ics")
def own_calendar(request: Request, secret: str, language: str = ENGLISH.key) -> Response:
    said = _language(language)
    try:
        with _database(request).reading() as db:
            found = actions.open_page(db, secret=secret, address=_address(request))
            made = _calendar(db, found, said)
    except (NotFound, TooManyTries) as refusal:
        return _closed(request, refusal, said)
    saved_as = {"content-disposition": 'attachment; filename="hours.ics"'}
    return Response(made, media_type="text/calendar", headers=saved_as)


def _closed(request: Request, refusal: Refusal, said: Language) -> Response:
    """Nothing was found, or too much was asked; the one is counted, whichever address it was."""
    if isinstance(refusal, NotFound):
        with _database(request).writing() as db:
            actions.count_wrong_link(db, address=_address(request))
    what = "gone" if isinstance(refusal, NotFound) else "wait"
    return page(request, "fitting/wearer_closed.html", status=refusal.status, language=said, what=what)


def _values(db: Session, found: Opened, said: Language) -> dict[str, Any]:
    zone = people.lab(db).zone
    today = clock.today(zone)
    plan = queries.wearing_plan(db, found.pair_id)
    if plan is None:  # taken back with its dispensing
        raise NotFound(actions.NOT_OPEN)
    hours = together.hours(db, plan, today, zone)
    noted, days = hours.noted, hours.days
    number = (today - plan.from_day).days + 1
    full = next((each for each, _, minutes, _ in days if minutes == plan.target_minutes), None)
    minutes = days[min(number, len(days)) - 1][2]
    mine = at_home.note_of(db, found.pair_id, today)
    return {
        "found": found,
        "phone": found.phone.replace(" ", "\u00a0"),
        "tel": "".join(each for each in found.phone if each in "+0123456789"),
        "today": said.day(today),
        "number": number,
        "hours": hours_words(minutes),
        "target": hours_words(plan.target_minutes),
        "full": full,
        "together": together.sentence(hours, said),
        "more": _more(hours, today, minutes, said),
        "ahead": [
            (said.day(day), hours_words(each), _more(hours, day, each, said))
            for n, day, each, _ in days
            if number < n <= number + AHEAD
        ],
        "stopped": said.day(min(hours.flagged.values())) if hours.flagged else "",
        "hurts": hours.hurts,
        "seen": _seen(found, said, zone),
        "mine": mine,
        "noted_at": _time(mine.noted_at, zone) if mine else "",
        "worn": [(each, hours_words(each) or said.say("not_worn")) for each in wearer.WORN],
        "before": [
            (said.day(_date(plan.from_day, day.number)), _told(day, said))
            for day in reversed(noted)
            if day.number < number
        ],
    }


def _more(hours: Hours, day: date, minutes: int, said: Language) -> str:
    """What is worn of all pairs together on a day on which that is more than this one."""
    more = hours.more(day, minutes)
    return said.say("all_together", hours=hours_words(more)) if more else ""


def _date(first: date, number: int) -> date:
    return first + timedelta(days=number - 1)


def _time(at: datetime, zone: str) -> str:
    local = at.astimezone(ZoneInfo(zone))
    return f"{local.hour}:{local:%M}"


def _seen(found: Opened, said: Language, zone: str) -> tuple[str, str]:
    """When the wearer comes again: the words, and the day or the appointment."""
    if found.appointment:
        return said.say("seen_at"), said.moment(found.appointment.astimezone(ZoneInfo(zone)))
    return said.say("seen_from"), said.day(found.review_on)


def _told(day: wearer.Day, said: Language) -> str:
    words = [
        (hours_words(day.minutes) or said.say("not_worn")) if day.minutes is not None else "",
        said.say(f"comfort_{day.comfort}") if day.comfort else "",
        said.say("skin") + " " + said.say(f"skin_{day.skin}") if day.skin else "",
    ]
    return " · ".join(each for each in words if each)


def _calendar(db: Session, found: Opened, said: Language) -> bytes:
    zone = people.lab(db).zone
    today = clock.today(zone)
    plan = queries.wearing_plan(db, found.pair_id)
    if plan is None:
        raise NotFound(actions.NOT_OPEN)
    hours = together.hours(db, plan, today, zone)
    booked = found.appointment.astimezone(ZoneInfo(zone)) if found.appointment else None
    clinic = f"{found.clinic} {found.phone}"
    rows = events(hours.days, found.review_on, booked, said, clinic, today, clock.now(), hours.together)
    return calendar_file(rows, name=said.say("title"))


def _language(key: str) -> Language:
    return LANGUAGES.get(key, ENGLISH)


def _others(said: Language) -> list[Language]:
    return [each for each in LANGUAGES.values() if each is not said]


def _database(request: Request) -> Database:
    database: Database = request.app.state.database
    return database


def _address(request: Request) -> str:
    return request.client.host if request.client else ""
