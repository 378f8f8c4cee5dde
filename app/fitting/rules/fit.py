"""The fit check on the day of dispensing as data: what is looked at, what passes, what each finding is called.

Without the shoe first, then in it. Nothing but trimming is altered on that day; what is asked of the pair after it
has been worn stands in review.py.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from app.bench.rules.machine import SIDE_WORDS
from app.errors import BadInput

ONLY_TRIMMING = "Nothing but trimming is altered on the day of dispensing: the wearer first gets used to it."
"""Common practice, no source."""
NOT_RELEASED = (
    "To release it all the same, give the reason; otherwise send the side back to the stage that mends it, or park it."
)
HELD_BACK = {"send_back": "sent_back", "park": "parked"}
"""Acts by which a pair that was looked at is not released, and the result of its fit check."""
RESULTS = {
    "released": "it fits",
    "trimmed": "it fits, trimmed here",
    "with_reason": "released with a reason",
    "sent_back": "not released, sent back",
    "parked": "not released, parked",
}
STEEPEST = 30
"""Degrees. A heel further from upright than this is a slip of the pen."""


@dataclass(frozen=True, slots=True)
class Look:
    """One thing that is looked at on a side. `passes` are the answers with which a pair may go."""

    key: str
    label: str
    answers: Mapping[str, str]
    passes: frozenset[str]
    fault: Mapping[str, str]
    """Answer to what is the matter, where it does not pass."""


_CHOICES = (
    Look(
        "arch",
        "Arch contact",
        {"full": "full", "partial": "partial", "none": "none"},
        frozenset({"full", "partial"}),  # partial contact is looked at again at the review
        {"none": "the arch has no contact"},
    ),
    Look(
        "cover",
        "Cover length in the shoe",
        {"ok": "as it should be", "long": "long", "short": "short"},
        frozenset({"ok"}),
        {
            "long": "the cover is long: trim it in small passes, against the liner",
            "short": "the cover is short: a trim can't be added back, it goes back to cover",
        },
    ),
)
CHOICES: dict[str, Look] = {look.key: look for look in _CHOICES}
TICKS = {
    "neutral": ("Subtalar joint neutral", "the subtalar joint is not neutral"),
    "upright": ("Heel upright, by eye", "the heel does not stand upright"),
    "seated": ("Sits square in the shoe", "it does not sit square in the shoe"),
    "heel_down": ("Heel down in the shoe", "the heel is not down in the shoe"),
    "not_tight": ("Shoe not tight", "the shoe is tight"),
    "toe_room": ("Room for the toes", "the toes have no room"),
    "liner_out": ("The shoe's own insole (liner) is out", "the liner is still in the shoe"),
}
"""What is found well or not: the words on the form, and what is the matter when it is not."""
DEGREES = {"heel_without": "Heel without the device", "heel_with": "Heel with the device"}
"""Measured where it was measured, valgus positive; by themselves they pass or stop nothing."""


def read_confirmed(raw: Any, sides: str, wrong: dict[str, str]) -> None:
    """Left and right are confirmed one by one, by the code and the letter in the material."""
    said = set(raw) if isinstance(raw, str | list | tuple) and all(isinstance(each, str) for each in raw) else set()
    if missing := [SIDE_WORDS[side] for side in sides if side not in said]:
        wrong["confirmed"] = f"Confirm {' and '.join(missing)} by the code and letter in the material, one by one."
    elif said - set(sides):
        wrong["confirmed"] = f"This pair has {SIDE_WORDS[sides]} alone; confirm no other side."


def read_fit(raw: Any, sides: str, wrong: dict[str, str], partly: bool = False) -> dict[str, Any]:
    """The answers by side; each fault is named by its field (`fit.L.arch`). Everything but degrees is asked.

    `partly` is for a pair that is not released: what was not looked at any more is left out.
    """
    if not isinstance(raw, Mapping):
        wrong["fit"] = "The fit check is missing."
        return {}
    answers: dict[str, Any] = {"read_back": raw.get("read_back") is True}
    if not answers["read_back"] and not partly:
        wrong["fit.read_back"] = "Name and code are read back to the wearer before the pair is handed over."
    for name in set(raw) - {"read_back", *sides}:
        wrong[f"fit.{name}"] = f"'{name}' is not part of this pair's fit check."
    for side in sides:
        found = raw.get(side)
        if isinstance(found, Mapping):
            answers[side] = _read_side(found, side, wrong, partly)
        elif not partly:
            wrong[f"fit.{side}"] = f"The fit check of the {SIDE_WORDS[side]} is missing."
    return answers


def _read_side(found: Mapping[str, Any], side: str, wrong: dict[str, str], partly: bool) -> dict[str, Any]:
    answers: dict[str, Any] = {}
    for name in set(found) - set(CHOICES) - set(TICKS) - set(DEGREES):
        wrong[f"fit.{side}.{name}"] = f"'{name}' is not looked at in a fit check."
    for look in CHOICES.values():
        answer = found.get(look.key)
        if isinstance(answer, str) and answer in look.answers:
            answers[look.key] = answer
        elif answer not in (None, "") or not partly:
            allowed = ", ".join(look.answers)
            wrong[f"fit.{side}.{look.key}"] = f"{look.label} of the {SIDE_WORDS[side]}: one of {allowed}."
    for key, (label, _) in TICKS.items():
        if isinstance(found.get(key), bool):
            answers[key] = found[key]
        elif key in found or not partly:
            wrong[f"fit.{side}.{key}"] = f"{label}, {SIDE_WORDS[side]}: say yes or no."
    for key, label in DEGREES.items():
        if found.get(key) not in (None, ""):
            answers[key] = _degrees(found[key], f"fit.{side}.{key}", f"{label}, {SIDE_WORDS[side]}", wrong)
    return answers


def _degrees(raw: Any, field: str, label: str, wrong: dict[str, str]) -> float | None:
    try:
        value = float(str(raw).replace(",", ".").removesuffix("°"))
    except ValueError:
        value = float("nan")
    if abs(value) <= STEEPEST:
        return round(value, 1)
    wrong[field] = f"{label} is from -{STEEPEST} to {STEEPEST} degrees, valgus positive; '{str(raw)[:20]}' is not."
    return None


def faults(answers: Mapping[str, Any], sides: str) -> list[str]:
    """What keeps the pair from passing, a sentence's part each, of what was looked at; empty when it passes."""
    return [f"{SIDE_WORDS[side]}: {fault}" for side in sides for fault in _side_faults(answers.get(side, {}))]


def _side_faults(said: Mapping[str, Any]) -> list[str]:
    found = [fault for key, (_, fault) in TICKS.items() if not said.get(key, True)]
    looks = (look for look in CHOICES.values() if look.key in said and said[look.key] not in look.passes)
    return found + [look.fault[said[look.key]] for look in looks]


def words(answers: Mapping[str, Any], result: str) -> str:
    """A fit check that was held, in a sentence's words."""
    found = [f"{SIDE_WORDS[side]}: {', '.join(_side_faults(answers[side]))}" for side in "LR" if side in answers]
    return ". ".join([f"Fit check: {RESULTS[result]}", *(each for each in found if not each.endswith(": "))])


def result(answers: Mapping[str, Any], sides: str, trimmed: bool, reason: str) -> str:
    """released, trimmed or with_reason; BadInput when it does not pass and nobody says why it goes all the same."""
    found = faults(answers, sides)
    if not found:
        return "trimmed" if trimmed else "released"
    if reason.strip():
        return "with_reason"
    sentence = f"The fit check does not pass: {'; '.join(found)}. {NOT_RELEASED}"
    raise BadInput(sentence, {"reason": sentence})
