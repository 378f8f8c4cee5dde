"""What a prescription is made of: every item with its unit, its range, its choices and the stages that need it.

The order form, the API, the bench's rows and the job ticket all read this list, so an item is added in one place.
Lengths are tenths of a millimetre as integers, angles degrees (valgus and pronation positive).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from app.errors import BadInput

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
    "heel_lift": "heel lift",
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
        Item("additions", "Additions", "many", ("cover", "trim", "inspect"), ADDITIONS),
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


def millimetres(tenths: int) -> str:
    """35 is "3.5 mm", 40 is "4.0 mm": a sheet's thickness is always written with its tenth."""
    return f"{tenths / 10:.1f}\u202fmm"


def value_words(item: Item, value: Any) -> str:
    if item.kind == "length":
        return millimetres(int(value))
    if item.kind == "choice":
        return item.choices[value]
    if item.kind == "many":
        return ", ".join(item.choices[key] for key in value)
    return str(value)


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
    elif not isinstance(value, str) or len(value) > 40:
        return f"{item.label} reads like 4/4 or 4° varus; '{str(value)[:40]}' does not."
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


def same_for_both(body: Body) -> bool:
    return body.get("L") == body.get("R")
