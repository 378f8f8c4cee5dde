"""The review: what is asked, when an adjustment may be made, what may be adjusted by hand, and what waits for it."""

from collections.abc import Collection, Mapping
from datetime import date
from typing import Any, NamedTuple

from app.bench.rules.machine import SIDE_WORDS
from app.bench.rules.stages import MAKING
from app.errors import BadInput, Unready

SKIN = {
    "clear": "clear",
    "mark_gone": "red mark, gone within 30 minutes",
    "mark_stays": "red mark, still there after 30 minutes",
    "blister": "blister",
    "broken": "cut or broken skin",
    "colour": "change of colour",
    "callus": "callus or hard skin",
}
"""The first six after the red flags of public hospital leaflets; callus is common practice."""
RED_FLAGS = {
    "skin": "skin: a mark that stays, a blister, a cut, a change of colour",
    "swelling": "swelling or warmth",
    "numbness": "numbness or tingling",
    "sharp_pain": "sharp pain",
}
RED_FLAG_SAYS = "Red flag: stop wearing, see the wearer now. An adjustment need not wait for the review."
ZONES = {
    "heel_cup": "heel cup",
    "medial_arch": "medial arch",
    "lateral_arch": "lateral arch",
    "forefoot_edge": "front edge",
    "medial_edge": "medial edge",
    "lateral_edge": "lateral edge",
    "rearfoot_post": "rearfoot post",
    "forefoot_post": "forefoot post",
    "pad": "metatarsal pad or bar",
    "cover": "cover",
}
PLACES = {
    "heel_cup": (49, 147),
    "medial_arch": (62, 86),
    "lateral_arch": (31, 92),
    "forefoot_edge": (52, 12),
    "medial_edge": (79, 56),
    "lateral_edge": (16, 62),
    "rearfoot_post": (49, 124),
    "forefoot_post": (49, 36),
    "pad": (46, 60),
    "cover": (28, 32),
}
"""Where a zone lies on the drawing of a left device, in a box of 96 by 160 with the toes up; right is its mirror."""
WHAT = {
    "lowered": "lowered or ground back",
    "raised": "raised or built up",
    "heated": "spot-heated and eased",
    "smoothed": "edge smoothed",
    "padded": "padded",
    "moved": "moved",
    "glued": "glued again",
    "cut_back": "cut back",
}
"""What a clinician does by hand at a review; common practice, no source."""
OUTCOMES = {
    "settle": "settled",
    "keep_wearing": "keep wearing",
    "adjust_here": "adjusted here",
    "adjust_lab": "to be adjusted at the lab",
    "remake": "to be remade",
}
"""What a review that was held led to."""
HOLDS_IT = ("adjust", "keep_wearing", "settle")
"""Acts that are done at a review, from its form."""
WATCH_FOR = (
    "Stop wearing and call the clinician at once: a red mark that has not gone after 30 minutes, any cut, blister, "
    "change of colour, swelling or warmth.",
    "With numb feet look at them every day, or have someone look.",
)
"""After the leaflets of three public services."""
SCALES = {"comfort": ("Comfort", 10), "pain": ("Pain", 10), "pain_relief": ("Pain relief", 100)}
BEFORE = ("pain", "comfort")
"""What of it is asked before the pair is worn, too; relief there is none yet."""


def zone_places() -> list[tuple[str, int, str, int, int]]:
    """For the drawing of a device: zone, its number, its words, and where it lies."""
    return [(key, number, words, *PLACES[key]) for number, (key, words) in enumerate(ZONES.items(), 1)]


class Done(NamedTuple):
    """One thing done to one side."""

    side: str
    zone: str
    what: str


def read_review(raw: Any, wrong: dict[str, str]) -> dict[str, Any]:
    """The answers of a review, all optional: hours_reached, comfort, pain, pain_relief, skin, painful (days)."""
    if raw is None:
        return {}
    if not isinstance(raw, Mapping):
        wrong["review"] = "A review is a set of answers."
        return {}
    for name in set(raw) - {"hours_reached", "skin", "painful", *SCALES}:
        wrong[f"review.{name}"] = f"'{name}' is not asked in a review."
    found: dict[str, Any] = {}
    if raw.get("hours_reached") not in (None, ""):
        found["hours_reached"] = _number(raw["hours_reached"], 24, "Hours reached", "review.hours_reached", wrong)
    for name, (label, most) in SCALES.items():
        if raw.get(name) not in (None, ""):
            number = _number(raw[name], most, label, f"review.{name}", wrong)
            found[name] = None if number is None else round(number)
    if raw.get("skin"):
        found["skin"] = raw["skin"]
        if not isinstance(raw["skin"], str) or raw["skin"] not in SKIN:
            wrong["review.skin"] = f"One of {', '.join(SKIN)}; '{str(raw['skin'])[:20]}' is none of them."
    return found


def read_before(raw: Any, first: bool, wrong: dict[str, str]) -> dict[str, int]:
    """What the wearer tells before the pair is worn, at its `first` dispensing: pain and comfort, both optional."""
    if raw in (None, {}):
        return {}
    if not isinstance(raw, Mapping) or not first or set(raw) - set(BEFORE):
        asked = "Before the pair is worn for the first time pain and comfort are asked, each from 0 to 10."
        wrong["before"] = asked if first else f"{asked} This pair was worn already."
        return {}
    given = {name: value for name, value in raw.items() if value not in (None, "")}
    found = {name: _number(value, *SCALES[name][::-1], f"before.{name}", wrong) for name, value in given.items()}
    return {name: round(value) for name, value in found.items() if value is not None}


def _number(raw: Any, most: int, label: str, field: str, wrong: dict[str, str]) -> float | None:
    try:
        value = float(str(raw).replace(",", "."))
    except ValueError:
        value = float("nan")
    whole = most != 24
    if 0 <= value <= most and not (whole and value != int(value)):
        return value
    wrong[field] = f"{label} is {'a whole number ' if whole else ''}from 0 to {most}; '{str(raw)[:20]}' is not."
    return None


def read_red_flags(raw: Any, wrong: dict[str, str]) -> list[str]:
    flags = list(raw) if isinstance(raw, list | tuple) else [raw] if raw else []
    if unknown := [str(flag)[:20] for flag in flags if str(flag) not in RED_FLAGS]:
        wrong["red_flags"] = f"'{unknown[0]}' is no red flag. Any of {', '.join(RED_FLAGS)}."
    return [str(flag) for flag in flags]


def read_done(raw: Any, sides: str, wrong: dict[str, str]) -> list[Done]:
    """What was adjusted here: `[{"side": "R", "zone": "medial_arch", "what": "lowered"}, ...]`, one at least."""
    rows = [row for row in raw if isinstance(row, Mapping)] if isinstance(raw, list | tuple) else []
    if not rows or len(rows) != len(raw):
        wrong["zones"] = "Say for each side which zone was adjusted and what was done there."
        return []
    done = []
    for row in rows:
        side, zone, what = (str(row.get(name) or "") for name in ("side", "zone", "what"))
        if not side or side not in sides:
            wrong["zones"] = f"'{side[:9]}' is not a side this adjustment is about: {SIDE_WORDS[sides]}."
        elif zone not in ZONES:
            wrong[f"zone.{side}"] = f"The zone on the {SIDE_WORDS[side]}: one of {', '.join(ZONES)}."
        elif what not in WHAT:
            wrong[f"what.{side}"] = f"What was done on the {SIDE_WORDS[side]}: one of {', '.join(WHAT)}."
        else:
            done.append(Done(side, zone, what))
    return done


def read_stages(raw: Any, wrong: dict[str, str]) -> None:
    """The lab's stages that an adjustment needs: at least one, and only those that make something."""
    stages = list(raw) if isinstance(raw, list | tuple) else []
    unknown = [str(stage)[:20] for stage in stages if stage not in MAKING]
    if unknown or not stages:
        wrong["stages"] = f"Name the stages it needs at the lab, any of {', '.join(MAKING)}."


def check_day(code: str, today: date, due_on: date | None, red_flags: Collection[str], reason: str) -> None:
    """Refuses an adjustment before the review's day, unless a red flag was noted or a reason overrides (in words).

    Adjustments wait for the first review: common practice, no source.
    """
    if due_on is None or today >= due_on or red_flags or reason.strip():
        return
    raise Unready(
        f"The review of {code} is due on {due_on:%a} {due_on.day} {due_on:%b}; until then the wearer gets used to it. "
        "Note the wish, and it waits for the review; a red flag makes it urgent; with a reason it can be done now."
    )


def fail(wrong: Mapping[str, str], title: str) -> None:
    """Raises the faults found so far, all at once; nothing when there are none."""
    if wrong:
        raise BadInput(f"{title} {' '.join(wrong.values())}", wrong)
