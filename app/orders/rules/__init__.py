"""What a prescription is made of: every item with its unit, its range, its choices and the stages that need it.

The order form, the API, the bench's rows and the job ticket all read this list, so an item is added in one place.
Lengths are tenths of a millimetre as integers, angles degrees (valgus and pronation positive).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Literal

from app.errors import BadInput
from app.trade import posts
from app.trade.blanks import LEAST_BREADTH_MM, LEAST_LENGTH_MM, MOST_BREADTH_MM, MOST_LENGTH_MM
from app.trade.sizes import SYSTEMS, foot_length
from app.trade.units import length_words

Kind = Literal["choice", "length", "post", "many"]
Body = dict[str, dict[str, Any]]
SIDE_NAMES = {"L": "Left", "R": "Right"}


@dataclass(frozen=True, slots=True)
class Item:
    key: str
    label: str
    kind: Kind
    stages: tuple[str, ...]
    """Where the bench needs it."""
    choices: dict[str, str] = field(default_factory=dict)
    gone: dict[str, str] = field(default_factory=dict)
    """What is no longer offered, but stands in earlier prescriptions."""
    low: int = 0
    high: int = 0
    """Range of a length, in tenths of a millimetre."""
    required: bool = False
    say: str = "{value}"
    """How the bench's row tells it."""


MATERIALS = {
    "polypropylene": "polypropylene",
    "copolymer": "copolymer",
    "hdpe": "HDPE",
    "acrylic": "acrylic",
    "eva": "EVA",
    "leather": "leather",
}
COVERS = {
    "eva": "EVA",
    "leather": "leather",
    "microfibre": "microfibre",
    "foam": "closed-cell foam",
    "none": "no cover",
}
ADDITIONS = {
    "met_pad": "metatarsal pad",
    "met_bar": "metatarsal bar",
    "heel_pad": "heel pad",
    "first_ray_cut": "first-ray cut-out",
    "heel_cut": "heel cut-out",
    "morton": "Morton's extension",
    "reverse_morton": "reverse Morton's extension",
    "toe_crest": "toe crest",
    "scaphoid_pad": "scaphoid pad",
    "lateral_flange": "lateral flange",
    "medial_flange": "medial flange",
    "no_hard_edges": "no hard edges, no seams",
}

ITEMS: dict[str, Item] = {
    item.key: item
    for item in (
        Item("shell", "Shell", "choice", ("press", "mill"), MATERIALS, required=True),
        Item("shell_thickness", "Shell thickness", "length", ("press", "mill"), low=10, high=200, required=True),
        Item(
            "shell_length",
            "Shell length",
            "choice",
            ("press", "grind"),
            {"metatarsals": "to metatarsals", "sulcus": "to sulcus", "full": "full length"},
            say="shell {value}",
        ),
        Item(
            "shell_width",
            "Shell width",
            "choice",
            ("grind",),
            {"narrow": "narrow", "standard": "standard", "wide": "wide"},
            say="{value} width",
        ),
        Item(
            "heel_cup", "Heel cup depth", "length", ("press", "mill", "grind"), low=0, high=400, say="heel cup {value}"
        ),
        Item(
            "arch_fill",
            "Arch fill",
            "choice",
            ("prepare", "pour", "carve", "correct"),
            {"minimal": "minimal", "standard": "standard", "maximal": "maximal"},
            say="arch fill {value}",
        ),
        Item(
            "skive", "Medial heel skive", "length", ("prepare", "carve", "correct"), low=0, high=80, say="skive {value}"
        ),
        Item("rearfoot_post", "Rearfoot post", "post", ("mill", "grind"), say="rearfoot post {value}"),
        Item(
            "forefoot_post",
            "Forefoot post",
            "post",
            ("prepare", "correct", "mill", "grind"),
            say="forefoot post {value}",
        ),
        Item(
            "heel_lift", "Heel lift", "length", ("cover", "trim", "inspect"), low=0, high=300, say="heel lift {value}"
        ),
        Item("additions", "Additions", "many", ("cover", "trim", "inspect"), ADDITIONS, {"heel_lift": "heel lift"}),
        Item("cover", "Top cover", "choice", ("cover",), COVERS, say="cover {value}"),
        Item("cover_thickness", "Cover thickness", "length", ("cover",), low=5, high=120),
        Item(
            "cover_length",
            "Cover length",
            "choice",
            ("cover", "trim", "inspect"),
            {"metatarsals": "to metatarsals", "sulcus": "to sulcus", "toes": "to toes"},
            say="cover {value}",
        ),
    )
}


RISKS = {
    "diabetes": "diabetes",
    "sensation_loss": "loss of sensation",
    "past_ulcer": "a past ulcer",
    "active_ulcer": "an active ulcer",
}
"""Marks that change what is made, when it is reviewed, or whether it is made at all."""
HIGH_RISK = frozenset(RISKS)
CHILD_BELOW = 18
ULCER_ASKS = (
    "An active ulcer: an insole alone is not the treatment. To order all the same, say who treats it and what the "
    "device is to do meanwhile."
)
SHOE_KINDS = {
    "walking": "walking or work shoe",
    "sports": "sports shoe",
    "dress": "dress shoe",
    "boot": "boot",
    "sandal": "sandal",
    "slipper": "house shoe",
    "depth": "extra-depth shoe",
}


def is_child(born_on: date | None, born_year: int | None, day: date) -> bool:
    """With the year alone, a wearer who may still be a child counts as one."""
    if born_on is not None:
        return day.year - born_on.year - ((day.month, day.day) < (born_on.month, born_on.day)) < CHILD_BELOW
    return born_year is not None and day.year - born_year <= CHILD_BELOW


def bench_marks(risks: Iterable[str]) -> list[str]:
    """What the bench is told of a wearer's risks: what the work needs, never the diagnosis."""
    return ["no hard edges, no seams"] if HIGH_RISK & set(risks) else []


def value_words(item: Item, value: Any, units: str = "metric") -> str:
    if item.kind == "length":
        return length_words(int(value), units)
    if item.kind == "choice":
        return item.choices[value]
    if item.kind == "many":
        return ", ".join((item.choices | item.gone)[key] for key in value)
    return posts.parse(str(value)).words()


def read_body(raw: Mapping[str, Mapping[str, Any]], sides: str) -> Body:
    """A prescription as it was asked for, checked; every fault is named by its field (`L.shell_thickness`)."""
    wrong: dict[str, str] = {}
    body: Body = {side: {} for side in sides}
    for side in set(raw) - set(sides):
        wrong[side] = f"This order is for {sides}; there is no side '{side}' in it."
    for side in sides:
        asked = raw.get(side, {})
        for key in set(asked) - set(ITEMS):
            wrong[f"{side}.{key}"] = f"'{key}' is not an item of a prescription. One of {', '.join(ITEMS)}."
        for item in ITEMS.values():
            value = asked.get(item.key)
            if value in (None, "", []):
                if item.required:
                    wrong[f"{side}.{item.key}"] = f"{item.label} of the {SIDE_NAMES[side].lower()} is missing."
                continue
            if sentence := _fault(item, value):
                wrong[f"{side}.{item.key}"] = sentence
            else:
                body[side][item.key] = value
    if wrong:
        raise BadInput("The prescription needs another look.", wrong)
    return body


def _fault(item: Item, value: Any) -> str | None:
    if item.kind == "length":
        if not isinstance(value, int) or isinstance(value, bool) or not item.low <= value <= item.high:
            return f"{item.label} is from {item.low / 10:g} to {item.high / 10:g} mm; '{value}' (in tenths) is not."
    elif item.kind == "many":
        unknown = [v for v in value if v not in item.choices] if isinstance(value, list) else [value]
        if unknown:
            return f"{item.label}: '{unknown[0]}' is not known. Any of {', '.join(item.choices)}."
    elif item.kind == "choice":
        if not isinstance(value, str) or value not in item.choices:
            return f"{item.label} is one of {', '.join(item.choices)}; '{value}' is not."
    else:
        return _post_fault(item, value)
    return None


def _post_fault(item: Item, value: Any) -> str | None:
    try:
        posts.parse(str(value))
    except ValueError as fault:
        return f"{item.label}: {fault}"
    return None


def needs(body: Body, stage: str, sides: str, shown: Iterable[str] = ()) -> list[str]:
    """What the bench needs at `stage` for the working `sides`: alike once, differing ones side by side.

    `shown` names further stages whose needs stand here because the lab has switched them off.
    """
    wanted = {stage, *shown}
    lines = []
    for item in ITEMS.values():
        if not wanted & set(item.stages):
            continue
        words = {side: value_words(item, body[side][item.key]) for side in sides if item.key in body.get(side, {})}
        if not words:
            continue
        if len(words) == len(sides) and len(set(words.values())) == 1:
            lines.append(item.say.format(value=next(iter(words.values()))))
        else:
            parts = [f"{SIDE_NAMES[side].lower()} {words.get(side, 'none')}" for side in sides]
            lines.append(item.say.format(value=", ".join(parts)))
    return lines


def read_wearer(raw: Mapping[str, Any]) -> dict[str, Any]:
    """What is known of a wearer, checked; a date comes as a date or as its ISO form, a missing fact is left out."""
    wrong: dict[str, str] = {}
    facts: dict[str, Any] = {}
    for name in set(raw) - {"name", "born_on", "born_year", "mass_kg", "posture_left", "posture_right", "risks"}:
        wrong[f"wearer.{name}"] = f"'{name}' is not known of a wearer."
    name = str(raw.get("name") or "").strip()
    if len(name) > 120:
        wrong["name"] = "A name has at most 120 characters."
    elif name:
        facts["name"] = name
    _born(raw, facts, wrong)
    for key, low, high, words in (
        ("mass_kg", 2, 400, "A body mass is from 2 to 400 kg"),
        ("posture_left", -12, 12, "The Foot Posture Index runs from -12 to 12"),
        ("posture_right", -12, 12, "The Foot Posture Index runs from -12 to 12"),
    ):
        value = raw.get(key)
        if value in (None, ""):
            continue
        try:
            number = float(str(value).replace(",", "."))
        except ValueError:
            number = float("nan")
        if not low <= number <= high or (key != "mass_kg" and number != int(number)):
            wrong[key] = f"{words}; '{str(value)[:20]}' does not fit."
        else:
            facts[key] = number if key == "mass_kg" else int(number)
    risks = list(raw.get("risks") or [])
    if unknown := [risk for risk in risks if risk not in RISKS]:
        wrong["risks"] = f"'{unknown[0]}' is no risk mark. Any of {', '.join(RISKS)}."
    elif risks:
        facts["risks"] = risks
    if wrong:
        raise BadInput("What is said of the wearer needs another look.", wrong)
    return facts


def _born(raw: Mapping[str, Any], facts: dict[str, Any], wrong: dict[str, str]) -> None:
    day, year = raw.get("born_on"), raw.get("born_year")
    try:
        if day:
            facts["born_on"] = day if isinstance(day, date) else date.fromisoformat(str(day))
        elif year:
            facts["born_year"] = int(str(year))
    except ValueError:
        wrong["born_on" if day else "born_year"] = "A birth date reads like 1958-04-30, a birth year like 1958."
        return
    born = facts["born_on"].year if "born_on" in facts else facts.get("born_year", 2000)
    if not 1900 <= born <= 2100:
        wrong["born_on" if day else "born_year"] = f"The year {born} can't be a birth year here."


def read_shoe(raw: Mapping[str, Any]) -> dict[str, Any]:
    """The shoe the pair is for: kind, size with its system, whether the liner comes out, inside width in tenths."""
    wrong: dict[str, str] = {}
    shoe = {key: value for key, value in raw.items() if value not in (None, "")}
    for key in set(shoe) - {"kind", "size", "system", "liner", "inside_width"}:
        wrong[f"shoe.{key}"] = f"'{key}' is not known of a shoe."
    if shoe.get("kind") and shoe["kind"] not in SHOE_KINDS:
        wrong["shoe.kind"] = f"One of {', '.join(SHOE_KINDS)}; '{shoe['kind']}' is none of them."
    if ("size" in shoe) is not ("system" in shoe):
        wrong["shoe.size"] = "A size goes with its system, such as 42 EU."
    elif "system" in shoe:
        if shoe["system"] not in SYSTEMS:
            wrong["shoe.system"] = f"One of {', '.join(SYSTEMS)}; '{shoe['system']}' is none of them."
        else:
            _size(shoe, wrong)
    width = shoe.get("inside_width")
    low, high = INSIDE_WIDTH
    if width is not None and not _within(width, low / 10, high / 10):
        words = f"An inside width is from {low / 10:g} to {high / 10:g} mm; '{width}' (in tenths) is not."
        wrong["shoe.inside_width"] = words
    if wrong:
        raise BadInput("The shoe needs another look.", wrong)
    return shoe


INSIDE_WIDTH = (400, 1600)
"""Of a shoe, in tenths of a millimetre; plain sense, no source."""
FOOT = {"length": (LEAST_LENGTH_MM, MOST_LENGTH_MM), "breadth": (LEAST_BREADTH_MM, MOST_BREADTH_MM)}
"""What is measured of a standing foot, and from where to where it can lie, in millimetres."""
Feet = dict[str, dict[str, int]]
"""Side to what is known of its foot, in tenths of a millimetre."""


def read_feet(raw: Mapping[str, Mapping[str, Any]], sides: str) -> Feet:
    """The measures of the feet, in tenths; what is empty is left out. A fault stands at `foot.L.length`."""
    wrong: dict[str, str] = {}
    feet: Feet = {}
    for side, measures in raw.items():
        known = {name: value for name, value in measures.items() if value not in (None, "")}
        if known and side not in sides:
            wrong[f"foot.{side}"] = f"This order is for {sides}; there is no side '{side}' in it."
        for name, value in known.items():
            if name not in FOOT:
                wrong[f"foot.{side}.{name}"] = f"'{name}' is not measured of a foot; {' and '.join(FOOT)} are."
            elif not _within(value, *FOOT[name]):
                low, high = FOOT[name]
                words = f"A foot's {name} is from {low:g} to {high:g} mm; {value!r} (in tenths) is not."
                wrong[f"foot.{side}.{name}"] = words
        if known:
            feet[side] = known
    if wrong:
        raise BadInput("The feet need another look.", wrong)
    return feet


def _within(tenths: Any, low_mm: float, high_mm: float) -> bool:
    return isinstance(tenths, int) and not isinstance(tenths, bool) and low_mm <= tenths / 10 <= high_mm


def _size(shoe: dict[str, Any], wrong: dict[str, str]) -> None:
    try:
        shoe["size"] = float(str(shoe["size"]).replace(",", "."))
        foot_length(shoe["size"], shoe["system"])
    except ValueError as fault:
        wrong["shoe.size"] = f"This is no size of that system: {fault}"
