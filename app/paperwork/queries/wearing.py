"""The wearing-in plan as a calendar to take home; making and changing the plan is the fitting room's."""

from datetime import date, datetime
from itertools import groupby
from typing import NamedTuple
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app import clock
from app.bench.queries import Loaded
from app.errors import BadInput, Unready
from app.fitting import queries as fitting
from app.fitting.queries import at_home, together
from app.fitting.queries.together import Hours
from app.fitting.rules import plan
from app.fitting.rules.takeaway import events
from app.people import queries as people
from app.people.queries import ClinicRow
from app.people.rules import hash_of
from app.trade import wearing
from app.trade.calendars import Event
from app.trade.sentences import LANGUAGES, Language

TWO_COLUMNS = 36
"""Rows of large print that two columns hold."""


class WearingDay(NamedTuple):
    number: int
    day: date
    month: str
    hours: str
    more: str
    """What all pairs together are worn that day, if that is more than this one."""
    hurt: bool


class Stretch(NamedTuple):
    """Days in a row with the same hours, as large print lists them; `to` is empty for one day alone."""

    day: str
    to: str
    hours: str
    more: str = ""
    """As of a day of the calendar."""


class WearingSheet(NamedTuple):
    """`weeks` are Monday to Sunday, None for a day outside the plan."""

    label: str
    code: str
    sides: str
    clinic: ClinicRow
    language: Language
    seen: str
    """The day or the appointment of the review; empty where none is set."""
    booked: bool
    weeks: list[list[WearingDay | None]]
    stretches: list[Stretch]
    target: str
    hours_from: str
    together: str
    """What a wearer of several pairs is told of the hours; empty for a wearer of one."""


class Taken(NamedTuple):
    """The plan of a pair as it stands, for paper and calendar alike."""

    clinic: ClinicRow
    hours: Hours
    key: str
    numbers: tuple[int, int, int]
    review_on: date | None
    appointment: datetime | None
    """In the lab's zone."""


def taken_home(db: Session, loaded: Loaded, today: date) -> Taken:
    """The wearing-in plan that goes home with the wearer, as it stands after the days that hurt."""
    row, zone = loaded.row, people.lab(db).zone
    worn = fitting.wearing_plan(db, row["id"])
    if worn is None:
        raise Unready(f"{row['code']} has no wearing-in plan yet: it is made when the pair is dispensed.")
    due = fitting.open_review(db, row["id"])
    return Taken(
        people.clinic(db, row["clinic_id"]),
        together.hours(db, worn, today, zone),
        worn.plan,
        (worn.start_minutes, worn.step_minutes, worn.target_minutes),
        due.due_on if due else None,
        due.appointment.astimezone(ZoneInfo(zone)) if due and due.appointment else None,
    )


def wearing_sheet(db: Session, loaded: Loaded, today: date, language: Language) -> WearingSheet:
    row, taken = loaded.row, taken_home(db, loaded, today)
    seen = language.day(taken.review_on) if taken.review_on else ""
    return WearingSheet(
        label=row["label"],
        code=row["code"],
        sides=row["all_sides"],
        clinic=taken.clinic,
        language=language,
        seen=language.moment(taken.appointment) if taken.appointment else seen,
        booked=taken.appointment is not None,
        weeks=weeks(taken.hours, language),
        stretches=stretches(taken.hours, language),
        # A plan longer than the sheet goes on at the clinic: never from its last day to all of the hours.
        target=plan.hours_words(taken.hours.days[-1][2]),
        hours_from=hours_from(taken.key, taken.numbers, language),
        together=together.sentence(taken.hours, language),
    )


def wearing_events(db: Session, loaded: Loaded, today: date, language: Language) -> list[Event]:
    """The same for a calendar, from today on."""
    taken = taken_home(db, loaded, today)
    clinic = " ".join(word for word in (taken.clinic.name, taken.clinic.phone) if word)
    seen = (taken.review_on, taken.appointment)
    return events(taken.hours.days, *seen, language, clinic, today, clock.now(), taken.hours.together)


def language_of(key: str) -> Language:
    if key not in LANGUAGES:
        words = f"The sheet is printed in {', '.join(LANGUAGES)}; '{key[:20]}' is none of them."
        raise BadInput(words, {"language": words})
    return LANGUAGES[key]


def is_link_of(db: Session, loaded: Loaded, secret: str) -> bool:
    """Whether this secret opens the page of this pair now: only then a sheet carries it."""
    link = at_home.open_link(db, loaded.row["id"])
    return link is not None and link.token_hash == hash_of(secret)


def weeks(hours: Hours, language: Language) -> list[list[WearingDay | None]]:
    cells: list[WearingDay | None] = [None] * hours.days[0][1].weekday()
    cells += [
        WearingDay(
            number,
            day,
            language.months[day.month - 1],
            plan.hours_words(minutes),
            _more(hours.more(day, minutes), language, "all_pairs"),
            hurt,
        )
        for number, day, minutes, hurt in hours.days
    ]
    cells += [None] * (-len(cells) % 7)
    return [cells[start : start + 7] for start in range(0, len(cells), 7)]


def stretches(hours: Hours, language: Language) -> list[Stretch]:
    """Many of them name no weekday: only so is there room for them all."""
    each_day = [((minutes, hours.more(day, minutes)), day) for _, day, minutes, _ in hours.days]
    same = [(figures, [day for _, day in group]) for figures, group in groupby(each_day, key=lambda each: each[0])]
    name = language.date if len(same) > TWO_COLUMNS else language.day
    return [
        Stretch(
            name(those[0]),
            name(those[-1]) if len(those) > 1 else "",
            plan.hours_words(minutes),
            _more(more, language, "all_together"),
        )
        for (minutes, more), those in same
    ]


def _more(minutes: int, language: Language, sentence: str) -> str:
    return language.say(sentence, hours=plan.hours_words(minutes)) if minutes else ""


def hours_from(key: str, numbers: tuple[int, int, int], language: Language) -> str:
    """Where the hours come from: a published plan, or the clinician who changed one."""
    published = wearing.PLANS.get(key)
    if published is None or (published.start_minutes, published.step_minutes) != numbers[:2]:
        return language.say("own_plan")
    own = "" if published.target_minutes == numbers[2] else f" {language.say('own_target')}"
    return f"{language.say('plan_' + key)}{own}"
