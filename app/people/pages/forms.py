"""Reading the settings form, the same when the lab is set up and when it is changed; each fault stands at its field."""

import re
from datetime import date
from functools import lru_cache
from typing import Any
from zoneinfo import available_timezones

import holidays
from holidays.registry import COUNTRIES

from app.people.rules import WAITS_FOR, Role
from app.trade import OutOfRange
from app.trade.sizes import ALLOWANCE, MOST_ALLOWANCE
from app.trade.units import length_typed, read_length
from app.web import Typed

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
TIMES = {"from": "Opens", "pause": "Break from", "again": "Break to", "to": "Closes"}
OPTIONAL_STAGES = {
    "prepare": "Prepare: a scan is shaped before carving or milling",
    "correct": "Correct: the positive is worked on before pressing",
    "grind": "Grind: shell cut out, edges finished, posts",
    "inspect": "Inspect: a second look before a pair leaves",
}
ROLES = {
    Role.TECHNICIAN: "Technician: works at the bench",
    Role.CLINICIAN: "Clinician: orders, fits and reviews at the own clinics",
    Role.MANAGER: "Manager: people, settings, figures",
}
UNITS = {"metric": "mm and kg", "imperial": "inches and pounds"}
CLINIC_ROWS = 4
"""Clinics that the set-up page has room for; more are added on the lab's page."""


def usual_lab() -> Typed:
    """What the set-up page starts with: hours that many labs keep, all of it to be changed."""
    usual = [(f"from.{day}", "08:00") for day in range(5)] + [(f"to.{day}", "17:00") for day in range(5)]
    return Typed([*usual, ("stages_on", "grind")])


def choices(zone: str = "") -> dict[str, Any]:
    """The lists that the settings form offers; `zone` is one that has to be among them."""
    return {
        "weekdays": list(enumerate(WEEKDAYS)),
        "times": list(TIMES.items()),
        "zones": [(each, each.replace("_", " ")) for each in sorted({*_places(), zone} - {""})],
        "countries": _countries(),
        "stages": list(OPTIONAL_STAGES.items()),
        "units": list(UNITS.items()),
        "waits_for": list(WAITS_FOR.items()),
    }


@lru_cache(maxsize=1)
def available_zones() -> frozenset[str]:
    return frozenset(available_timezones())


def _places() -> list[str]:
    """Zones named after places; the rest of the list are aliases and fixed offsets without summer time."""
    return [name for name in available_zones() if "/" in name and not name.startswith(("Etc/", "US/"))]


@lru_cache(maxsize=1)
def _countries() -> list[tuple[str, str]]:
    """Code and name; the library names its countries in one word each, such as BosniaAndHerzegovina."""
    names = {
        code: re.sub(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])", " ", name)
        for name, code, *_ in COUNTRIES.values()
    }
    small = re.compile(r"\b(And|Of|The)\b")
    return sorted(((code, small.sub(lambda m: m[0].lower(), name)) for code, name in names.items()), key=lambda c: c[1])


def read_text(form: Typed, name: str, words: str, wrong: dict[str, str], most: int = 120, needed: bool = False) -> str:
    value = form.get(name, "").strip()
    if needed and not value:
        wrong[name] = f"{words} is missing."
    elif len(value) > most:
        wrong[name] = f"{words} has at most {most} characters; this has {len(value)}."
    return value


def read_lab(form: Typed, wrong: dict[str, str]) -> tuple[dict[str, Any], dict[str, Any]]:
    """The lab's own columns and its calendar's, as typed; what can't be is put into `wrong`."""
    lab: dict[str, Any] = {
        "name": read_text(form, "name", "The lab's name", wrong, needed=True),
        "phone": read_text(form, "phone", "The telephone number", wrong, most=40),
        "zone": _zone(form, wrong),
        "address": read_text(form, "address", "The address", wrong, most=400),
        "stages_on": [stage for stage in OPTIONAL_STAGES if stage in form.all("stages_on")],
        "marks_start": "marks_start" in form,
        "last_allowance": _allowance(form, wrong),
    }
    hours = [_spans(form, day, wrong) for day in range(7)]
    if not any(hours) and not any(name.startswith("from.") for name in wrong):
        wrong["from.0"] = "The lab is open on at least one day of the week."
    country, region = _holidays_of(form, wrong)
    closures = _closures(form.get("closures", ""), wrong)
    return lab, {"hours": hours, "country": country, "region": region, "closures": closures}


def _allowance(form: Typed, wrong: dict[str, str]) -> int:
    """In tenths of a millimetre; a form that does not ask leaves it as is usual."""
    typed = form.get("last_allowance", length_typed(ALLOWANCE))
    try:
        allowance = read_length(typed)
    except OutOfRange:
        allowance = -1
    if not 0 <= allowance <= MOST_ALLOWANCE:
        most = length_typed(MOST_ALLOWANCE)
        words = f"By how much a last is longer than the foot: from 0 to {most} mm; '{typed[:20]}' is not."
        wrong["last_allowance"] = words
    return allowance


def _zone(form: Typed, wrong: dict[str, str]) -> str:
    zone = form.get("zone", "")
    if zone not in available_zones():
        wrong["zone"] = (
            f"'{zone[:40]}' is not a time zone; choose one of the list." if zone else "Choose the time zone."
        )
    return zone


def _holidays_of(form: Typed, wrong: dict[str, str]) -> tuple[str, str]:
    country, region = form.get("country", "").strip(), form.get("region", "").strip().upper()
    known = holidays.list_supported_countries(include_aliases=False)
    if country and country not in known:
        wrong["country"] = f"'{country[:20]}' is not a country whose public holidays are known; choose one of the list."
    elif region and not country:
        wrong["region"] = "A region goes with its country; choose the country, or leave the region empty."
    elif region and region not in known[country]:
        some = ", ".join(known[country]) or "none; leave it empty"
        wrong["region"] = f"'{region[:20]}' is not a region of {country}. Known: {some}."
    return country, region


def _spans(form: Typed, day: int, wrong: dict[str, str]) -> list[list[str]]:
    """One weekday's open spans; both fields empty is a day off, a break splits the day."""
    field, weekday = f"from.{day}", WEEKDAYS[day]
    typed = [form.get(f"{name}.{day}", "").strip() for name in TIMES]
    start, pause, again, end = typed
    edges = [text for text in typed if text]
    if any(not re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", text) for text in edges):
        wrong[field] = f"{weekday}: times read like 08:30."
    elif edges and (not (start and end) or bool(pause) is not bool(again)):
        wrong[field] = f"{weekday}: a beginning goes with an end, and a break with both of its times."
    elif edges != sorted(set(edges)):
        wrong[field] = f"{weekday}: the times have to follow each other."
    if field in wrong or not edges:
        return []
    return [edges[:2], edges[2:]] if pause else [edges]


def _closures(text: str, wrong: dict[str, str]) -> list[str]:
    try:
        return sorted({date.fromisoformat(word).isoformat() for word in text.replace(",", " ").split()})
    except ValueError:
        wrong["closures"] = "Closed days read like 2026-12-24, with blanks between them."
        return []


def read_clinics(form: Typed, wrong: dict[str, str]) -> list[dict[str, Any]]:
    """The rows of the set-up's clinic table that have a name."""
    rows: list[dict[str, Any]] = []
    for n in range(CLINIC_ROWS):
        name = read_text(form, f"clinic.{n}", "The clinic's name", wrong)
        if name.casefold() in {row["name"].casefold() for row in rows}:
            wrong[f"clinic.{n}"] = "This name is already above; each clinic needs its own."
        elif name:
            rows.append({"name": name, "by_parcel": f"parcel.{n}" in form, "trims": f"trims.{n}" in form})
    if not rows:
        wrong["clinic.0"] = "Name at least one clinic."
    return rows


def read_days(form: Typed, name: str, wrong: dict[str, str], most: int = 30) -> int | str:
    """A few working days; what can't be is given back as it was typed. Not sent, it is the usual one day."""
    raw = form.get(name, "1").strip()
    if raw.isascii() and raw.isdecimal() and len(raw) < 4 and int(raw) <= most:
        return int(raw)
    wrong[name] = f"The days on the way are a whole number from 0 to {most}; '{raw[:20]}' is not."
    return raw


def read_ids(form: Typed, name: str) -> list[int]:
    """The ids ticked; a value that can't be one becomes 0, which no row has, so that it is refused and not lost."""
    return [int(value) if value.isascii() and value.isdigit() and len(value) < 10 else 0 for value in form.all(name)]
