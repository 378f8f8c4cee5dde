"""Reading the forms of the pair page: which field says what. What may be said is checked by the other files here."""

from collections.abc import Callable, Mapping
from typing import Any, Protocol

from app.fitting.rules.fit import CHOICES, DEGREES, TICKS
from app.fitting.rules.plan import NUMBERS
from app.fitting.rules.review import BEFORE, SCALES


class Typed(Protocol):
    """A posted form: `get` gives the last value of a name, `all` every one."""

    def get(self, name: str, default: str, /) -> str: ...
    def all(self, name: str, /) -> list[str]: ...


def facts_from_form(act: str, form: Typed) -> dict[str, Any]:
    """The facts of `act` as it takes them; an act without a form of this room has none."""
    read = READERS.get(act)
    facts = read(form) if read else {}
    return {name: value for name, value in facts.items() if value not in (None, "", [], {})}


def _fit(form: Typed) -> dict[str, Any]:
    fit: dict[str, Any] = {"read_back": form.get("fit.read_back", "") == "yes"}
    for side in form.all("sides_made"):
        ticked = form.all(f"fit.{side}.ticks")
        answers: dict[str, Any] = {key: key in ticked for key in TICKS}
        for name in (*CHOICES, *DEGREES):
            answers[name] = form.get(f"fit.{side}.{name}", "")
        fit[side] = answers
    return fit


def _held_back(form: Typed) -> dict[str, Any]:
    """Sending back and parking have a fit check where they come from its form.

    A list of which nothing is ticked was not looked at, and neither was a side of which nothing is said.
    """
    if not form.get("fit_check", ""):
        return {}
    fit = _fit(form)
    for side in form.all("sides_made"):
        ticked = any(fit[side][key] for key in TICKS)
        fit[side] = {
            key: said for key, said in fit[side].items() if said not in ("", False) or (ticked and key in TICKS)
        }
    return {"fit": {key: said for key, said in fit.items() if said != {}}}


def _dispense(form: Typed) -> dict[str, Any]:
    plan = {name: form.get(f"plan.{name}", "") for name in ("key", *NUMBERS) if form.get(f"plan.{name}", "")}
    shoe = {name: form.get(f"shoe.{name}", "") for name in ("kind", "size", "system", "liner")}
    shoe = {name: value for name, value in shoe.items() if value}
    return {
        "confirmed": "".join(form.all("confirmed")),
        "fit": _fit(form),
        "before": {name: value for name in BEFORE if (value := form.get(f"before.{name}", "").strip())},
        "plan": plan,
        "shoe": shoe if form.get("shoe_changed", "") == "yes" else {},
        "trimmed": True if form.get("trimmed", "") == "yes" else None,
        "given_back": [int(n) if n.isdecimal() and len(n) < 10 else n for n in form.all("given_back")],
    }


def _review(form: Typed) -> dict[str, Any]:
    names = ("hours_reached", "skin", "painful", *SCALES)
    answers = {name: form.get(f"review.{name}", "").strip() for name in names}
    return {"review": {name: value for name, value in answers.items() if value}}


def _adjust(form: Typed) -> dict[str, Any]:
    rows = [
        {"side": side, "zone": zone, "what": what}
        for side in ("L", "R")
        for zone, what in zip(form.all(f"zone.{side}"), form.all(f"what.{side}"), strict=False)
        if zone or what
    ]
    where = form.get("where", "")
    facts = _review(form) | {"where": where}
    return facts | ({"zones": rows} if where == "here" else {"stages": form.all("stages")})


def _wish(form: Typed) -> dict[str, Any]:
    return {"red_flags": form.all("red_flags"), "painful": form.get("painful", "").strip()}


def _told(form: Typed) -> dict[str, Any]:
    return {"how": form.get("how", ""), "who": form.get("who", "")}


def _booked(form: Typed) -> dict[str, Any]:
    return {"at": form.get("at", ""), "what": form.get("what", ""), "also": form.all("also")}


def _did_not_come(form: Typed) -> dict[str, Any]:
    return {"what": form.get("what", "")}


READERS: Mapping[str, Callable[[Typed], dict[str, Any]]] = {
    "dispense": _dispense,
    "send_back": _held_back,
    "park": _held_back,
    "settle": _review,
    "keep_wearing": _review,
    "adjust": _adjust,
    "note_request": _wish,
    "tell": _told,
    "book": _booked,
    "no_show": _did_not_come,
}
