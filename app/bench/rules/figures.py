"""What do the bench's stages need in numbers for one pair? Plaster, blanks, oven, posts and covers, with their source.

What they are worked out from is measures.py, batches of pairs are sheets.py. A figure is rounded where it is said,
nowhere before.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from math import ceil

from app.bench.rules.measures import (
    Side,
    Sides,
    Volume,
    grams,
    heated,
    platform_mm,
    post_width_mm,
    shell_blank,
    thickness_mm,
    volume,
    whole,
)
from app.bench.rules.settings import BenchSettings, between
from app.orders.rules import MATERIALS, SIDE_NAMES
from app.trade import blanks, heat, plaster, posts
from app.trade.blanks import Size
from app.trade.heat import Setting, Trust

BLANK_FORMULA = (
    "Blank: (shell length + heel cup + 2 × margin) ÷ (1 − shrinkage), by (device width + 2 × heel cup + 2 × margin) ÷ "
    "(1 − shrinkage); rounded up."
)
BLANK_SOURCE = (
    f"{blanks.LENGTH_SOURCE} {blanks.BREADTH_SOURCE} Device width and the cup's share: from memory, no source. The "
    "shrinkage is the oven table's."
)
UNKNOWN = "size not known: measure"
NO_ROW = "The oven table has no row for this sheet: a manager adds one from the sheet's own data."


@dataclass(frozen=True, slots=True)
class Figure:
    """Its value by side (L, R), or of the pair under "", and where it comes from."""

    label: str
    values: Mapping[str, str]
    formula: str
    inputs: tuple[str, ...]
    source: str
    trust: Trust
    thick: Mapping[str, str] = field(default_factory=dict)
    """Of a wedge: which edge is thick, inner or outer, by side."""

    @property
    def result(self) -> str:
        if len(self.values) == 2 and len(set(self.values.values())) == 1:
            return self.values["L"]
        return "; ".join(f"{SIDE_NAMES[side]}: {words}" if side else words for side, words in self.values.items())


def pour_figures(sides: Sides, settings: BenchSettings) -> list[Figure]:
    known = {side: found for side, each in sides.items() if (found := volume(each, settings))}
    mixed = _mix_figures(known, settings) if known else []
    setting = plaster.CLASSES[settings.plaster_class]
    strip = Figure(
        "Not stripped before",
        {"": f"{ceil(setting.final_set_min)} min after mixing ({setting.words})"},
        "The final set of a plaster of this class, at 50 parts of water",
        (setting.words,),
        plaster.SETTING_SOURCE,
        "published",
    )
    return [_volume_figure(known, sides, settings), *mixed, strip, *platform_figures(sides, settings)]


def _mix_figures(known: Mapping[str, Volume], settings: BenchSettings) -> list[Figure]:
    """Of each positive, and with the waste of all of them together."""
    per = f"{settings.consistency:g} parts of water to 100 of plaster by mass"
    formula = "plaster = volume ÷ (1 ÷ 2.76 + consistency ÷ 100), water = plaster × consistency ÷ 100"
    about = "about " if any(each.error_percent for each in known.values()) else ""
    total = plaster.mix(sum(each.cm3 for each in known.values()), settings.consistency, settings.waste_percent)
    return [
        Figure(
            "Plaster and water",
            {side: _mix_words(plaster.mix(each.cm3, settings.consistency)) for side, each in known.items()},
            formula,
            tuple(f"{SIDE_NAMES[side]}: {each.cm3:.0f} cm³, {per}" for side, each in known.items()),
            "Density of the powder 2.76 g/cm³ (from memory); computed, and within 6 % of a potter's chart",
            "computed",
        ),
        Figure(
            "To mix for the pair",
            {"": f"{about}{grams(total.plaster_g)} g plaster + {grams(total.water_g)} g water"},
            f"{formula}, and {settings.waste_percent:g} % more for the bowl",
            (f"{total.volume_cm3:.0f} cm³ with the waste, {per}",),
            "As above; the waste is common practice, no source",
            "computed",
        ),
    ]


def _volume_figure(known: Mapping[str, Volume], sides: Sides, settings: BenchSettings) -> Figure:
    estimated = any(each.error_percent for each in known.values())
    ways = {
        f"The scan's inside up to {settings.fill_height_mm} mm (divergence theorem, exact)": not all(
            each.error_percent for each in known.values()
        ),
        "length × breadth × height × the part of that box which a model foot fills": estimated,
    }
    return Figure(
        "Positive",
        {side: _volume_words(known[side]) if side in known else f"{UNKNOWN} the cast" for side in sides},
        "; estimated: ".join(way for way, taken in ways.items() if taken),
        tuple(f"{SIDE_NAMES[side]}: {_foot_words(each)}" for side, each in sides.items()),
        "The part filled was computed from two model feet; the error is from memory" if estimated else "Geometry",
        "from memory" if estimated else "computed",
    )


def platform_figures(sides: Sides, settings: BenchSettings) -> list[Figure]:  # noqa: ARG001 - as the other stages'
    heights = {side: platform_mm(each) for side, each in sides.items()}
    tilted = {side: height for side, height in heights.items() if height}
    values = {side: f"{_mm(height)}{_edge(sides[side], 'forefoot_post')}" for side, height in tilted.items()}
    if not values:
        return []
    return [_wedge_figure("Forefoot platform", values, sides, "forefoot_post")]


def press_figures(sides: Sides, settings: BenchSettings) -> list[Figure]:
    rows = {side: heated(each, settings) for side, each in sides.items()}
    found = {side: row for side, row in rows.items() if row}
    sheets = {side: _sheet_words(each) for side, each in sides.items()}
    parts: tuple[tuple[str, Callable[[Setting], str]], ...] = (
        ("Oven is set to", lambda row: between(row.oven_c, None, "°C")),
        ("Sheet leaves it at", lambda row: between(row.sheet_low_c, row.sheet_high_c, "°C")),
        ("Time in the oven", lambda row: between(row.minutes_low, row.minutes_high, "min")),
        ("Vacuum", vacuum_words),
    )
    source, trust = _of_rows(list(found.values()))
    inputs = tuple(f"{SIDE_NAMES[side]}: {sheets[side]}" for side in sides)
    formula = "The row of the lab's oven table for this sheet"
    figures = []
    if not found:
        figures.append(Figure("Oven", dict.fromkeys(sides, "not in the table"), formula, inputs, source, trust))
    for label, words in parts if found else ():
        values = {side: (words(row) if row else "") or "not in the table" for side, row in rows.items()}
        figures.append(Figure(label, values, formula, inputs, source, trust))
    sizes = {side: shell_blank(each, settings) for side, each in sides.items()}
    figures.append(
        Figure(
            "Blank",
            {side: _size_words(size) if size else f"{UNKNOWN} the positive" for side, size in sizes.items()},
            BLANK_FORMULA,
            tuple(
                f"{SIDE_NAMES[side]}: {_foot_words(each)}, margin {settings.shell_margin_mm:g} mm, shrinkage "
                f"{found[side].shrinkage_percent if side in found else 0:g} %"
                for side, each in sides.items()
            ),
            BLANK_SOURCE,
            "from memory",
        )
    )
    return figures


def grind_figures(sides: Sides, settings: BenchSettings) -> list[Figure]:  # noqa: ARG001 - as the other stages'
    figures = []
    for key, label in (("rearfoot_post", "Rearfoot post"), ("forefoot_post", "Forefoot post")):
        asked = {side: posts.parse(str(each.items[key])) for side, each in sides.items() if each.items.get(key)}
        values = {}
        for side, post in asked.items():
            width = post_width_mm(sides[side], key)
            high = "width not known" if width is None else _mm(posts.wedge_height_mm(width, post.degrees))
            values[side] = f"{post.notation()}: " + (f"{high}{_edge(sides[side], key)}" if post.degrees else "flat")
        if values:
            figures.append(_wedge_figure(label, values, sides, key))
    lifts = {side: each.items["heel_lift"] / 10 for side, each in sides.items() if each.items.get("heel_lift")}
    if lifts:
        figures.append(
            Figure(
                "Heel lift",
                {side: f"{_mm(lift)} at the heel, to nothing in front" for side, lift in lifts.items()},
                "As prescribed",
                (),
                "The prescription; over 10 mm in a shoe is cautioned (a podiatry periodical, 2019)",
                "published",
            )
        )
    return figures


def cover_figures(sides: Sides, settings: BenchSettings) -> list[Figure]:
    cut, pieces = {}, {}
    for side, each in sides.items():
        length = each.items.get("cover_length")
        if each.foot and length and each.items.get("cover") not in (None, "none"):
            cut[side] = f"{blanks.cover_length_mm(each.foot, length):.0f}\u00a0mm"
            pieces[side] = _size_words(whole(blanks.cover_blank(each.foot, length, settings.cover_margin_mm)))
    if not cut:
        return []
    inputs = tuple(f"{SIDE_NAMES[side]}: {_foot_words(sides[side])}" for side in cut)
    return [
        Figure(
            "Cut length",
            cut,
            "foot length × .74 to the metatarsals, × .83 to the sulcus, + 10 mm to the toes",
            inputs,
            f"{blanks.LENGTH_SOURCE} {blanks.TOE_ROOM_SOURCE}",
            "from memory"
            if any(each.items.get("cover_length") == "sulcus" for each in sides.values())
            else "published",
        ),
        Figure(
            "Blank",
            pieces,
            f"cut length and the foot's breadth, {settings.cover_margin_mm:g} mm more at each edge",
            inputs,
            "The margin is the lab's setting; the foot's whole breadth: common practice, no source",
            "common practice",
        ),
    ]


FIGURES: dict[str, Callable[[Sides, BenchSettings], list[Figure]]] = {
    "pour": pour_figures,
    "carve": platform_figures,
    "press": press_figures,
    "grind": grind_figures,
    "cover": cover_figures,
}
"""By the stage that needs them; the others need none."""
ON_THE_TICKET = frozenset(
    {
        *("To mix for the pair", "Forefoot platform", "Oven is set to", "Sheet leaves it at", "Blank"),
        *("Rearfoot post", "Forefoot post", "Heel lift", "Cut length"),
    }
)
"""Labels of what a job ticket has room for."""
TITLES = {
    "pour": "Pour sheet",
    "carve": "Carve sheet",
    "press": "Press sheet",
    "grind": "Post and lift sheet",
    "cover": "Cover sheet",
}


def vacuum_words(row: Setting) -> str:
    if row.vacuum_inhg is None:
        return ""
    low = "" if heat.enough_vacuum(row.vacuum_inhg) else f" – weak: below {heat.LEAST_VACUUM_INHG:g}"
    return f"{row.vacuum_inhg:g}\u00a0inHg{low}"


def _wedge_figure(label: str, values: Mapping[str, str], sides: Sides, key: str) -> Figure:
    asked = {side: posts.parse(str(sides[side].items[key])) for side in values}
    inputs = []
    for side, post in asked.items():
        width = post_width_mm(sides[side], key)
        over = "width not known" if width is None else f"over {width:.0f} mm"
        inputs.append(f"{SIDE_NAMES[side]}: {post.words()} {over}")
    return Figure(
        label,
        values,
        "height = width × tan(angle)",
        tuple(inputs),
        "Trigonometry. The width of the heel (by shell width) and of the device at the forefoot (part of the foot's "
        "breadth) is from memory, no source: measure the shell. Post degrees / motion degrees: a podiatry periodical.",
        "from memory",
        {side: edge for side, post in asked.items() if (edge := post.thick_edge())},
    )


def _edge(side: Side, key: str) -> str:
    edge = posts.parse(str(side.items[key])).thick_edge()
    return f", {edge} edge thick" if edge else ""


def _of_rows(rows: list[Setting]) -> tuple[str, Trust]:
    if not rows:
        return NO_ROW, "lab's own"
    return " ".join(dict.fromkeys(row.source for row in rows)), rows[0].trust


def _sheet_words(side: Side) -> str:
    shell = str(side.items.get("shell", "shell not said"))
    return f"{MATERIALS.get(shell, shell)} {_mm(thickness_mm(side) or 0)}"


def _volume_words(found: Volume) -> str:
    about = f" ± {found.error_percent:g} %, estimated" if found.error_percent else ""
    return f"{found.cm3:.0f}\u00a0cm³{about}"


def _mix_words(mix: plaster.Mix) -> str:
    return f"{grams(mix.plaster_g)} g + {grams(mix.water_g)}\u00a0g"


def _mm(millimetres: float) -> str:
    return f"{millimetres:.1f}\u00a0mm"


def _foot_words(side: Side) -> str:
    if side.foot is None:
        return "size of the foot not known"
    on = {"scan": "the scan", "wearer": "its measures", "shoe": "the shoe's size"}[side.how]
    return f"foot {side.foot.length_mm:.0f} × {side.foot.breadth_mm:.0f} mm, by {on}"


def _size_words(size: Size) -> str:
    return f"{size.length_mm:g} × {size.width_mm:g}\u00a0mm"
