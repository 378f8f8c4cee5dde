"""What do several pairs need together? One bowl of plaster for a batch of casts, one oven load of shells.

What a sheet was worked out from is plain values, so that it is kept with the lab's settings and drawn again as it was
printed. One pair's figures are figures.py.
"""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, NamedTuple

from app.bench.rules.cutting import StockSheet, laid_out
from app.bench.rules.figures import BLANK_FORMULA, BLANK_SOURCE, NO_ROW, Figure
from app.bench.rules.measures import Sides, grams, platform_mm, shell_blank, thickness_mm, volume
from app.bench.rules.settings import BenchSettings, between, oven_row
from app.orders.rules import MATERIALS, SIDE_NAMES
from app.trade import heat, plaster, posts
from app.trade.heat import Setting, Trust
from app.trade.nesting import Blank, Cut
from app.trade.units import length_words


@dataclass(frozen=True, slots=True)
class Given:
    """One side of one pair as a sheet needs it. None where nothing says how large the foot is."""

    code: str
    side: str
    cm3: float | None
    error_percent: float
    platform_mm: float | None
    edge: str | None
    """Which edge of the platform is high."""
    material: str
    thickness_mm: float | None
    width_mm: int | None
    length_mm: int | None


def given(code: str, sides: Sides, working: Collection[str], settings: BenchSettings) -> list[Given]:
    """What the sheets need of the sides of a pair that have work."""
    rows = []
    for side in (side for side in sides if side in working):
        each, found = sides[side], volume(sides[side], settings)
        size, platform = shell_blank(each, settings), platform_mm(each)
        rows.append(
            Given(
                code,
                side,
                found.cm3 if found else None,
                found.error_percent if found else 0.0,
                platform or None,
                posts.parse(str(each.items["forefoot_post"])).thick_edge() if platform else None,
                str(each.items.get("shell", "")),
                thickness_mm(each),
                int(size.width_mm) if size else None,
                int(size.length_mm) if size else None,
            )
        )
    return rows


def kept(rows: Sequence[Given]) -> list[dict[str, Any]]:
    return [asdict(row) for row in rows]


def given_again(rows: Sequence[Mapping[str, Any]]) -> list[Given]:
    return [Given(**row) for row in rows]


class PourLine(NamedTuple):
    """Both positives of a pair. Grams without waste; `error_percent` is the larger of its sides'."""

    code: str
    sides: str
    cm3: float
    error_percent: float
    plaster_g: int
    water_g: int
    platforms: str
    """The forefoot's, height and which edge is high, in words; empty where there is none."""


class PourSheet(NamedTuple):
    lines: list[PourLine]
    plaster_g: int
    water_g: int
    """The sum of the lines."""
    with_waste: tuple[int, int]
    """Plaster and water to weigh out."""
    cm3: float
    strip_after_min: float
    unknown: list[tuple[str, str]]
    """Code and side of which no size is known: they are not in the sums."""


def pour_sheet(rows: Sequence[Given], settings: BenchSettings) -> PourSheet:
    """Each line is rounded to a gram, and the sum is that of the lines: who adds them up gets what is printed."""
    by_pair: dict[str, list[Given]] = defaultdict(list)
    for row in rows:
        by_pair[row.code].append(row)
    lines = [line for code, sides in by_pair.items() if (line := _pour_line(code, sides, settings))]
    plaster_g, water_g = sum(line.plaster_g for line in lines), sum(line.water_g for line in lines)
    more = 1 + settings.waste_percent / 100
    return PourSheet(
        lines,
        plaster_g,
        water_g,
        (grams(plaster_g * more), grams(water_g * more)),
        sum(line.cm3 for line in lines) * more,
        plaster.strip_after_min(settings.plaster_class),
        [(row.code, row.side) for row in rows if row.cm3 is None],
    )


def _pour_line(code: str, sides: Sequence[Given], settings: BenchSettings) -> PourLine | None:
    known = {row.side: row for row in sides if row.cm3}
    if not known:
        return None
    cm3 = sum(row.cm3 or 0 for row in known.values())
    mix = plaster.mix(cm3, settings.consistency)
    return PourLine(
        code,
        "".join(known),
        cm3,
        max(row.error_percent for row in known.values()),
        grams(mix.plaster_g),
        grams(mix.water_g),
        _platform_words(sides),
    )


def _platform_words(sides: Sequence[Given]) -> str:
    words = {row.side: f"{row.platform_mm:.1f}\u00a0mm {row.edge}" for row in sides if row.platform_mm}
    if len(words) == len(sides) == 2 and len(set(words.values())) == 1:
        return f"both {words[sides[0].side]}"
    return ", ".join(f"{SIDE_NAMES[side].lower()} {each}" for side, each in words.items())


def pour_origin(sheet: PourSheet, settings: BenchSettings) -> Figure:
    """Where the sums of a pour sheet come from."""
    return Figure(
        "Plaster and water",
        {"": f"{sheet.with_waste[0]} g plaster, {sheet.with_waste[1]} g water"},
        "plaster = volume ÷ (1 ÷ 2.76 + consistency ÷ 100), water = plaster × consistency ÷ 100; each pair rounded "
        "to a gram, then added, then the waste",
        (
            f"{len(sheet.lines)} pairs, {settings.consistency:g} parts of water to 100 of plaster by mass, "
            f"{settings.waste_percent:g} % waste, filled up to {settings.fill_height_mm} mm",
        ),
        "Density of the powder 2.76 g/cm³ (from memory); computed, and within 6 % of a potter's chart. Volumes are of "
        f"the scans, those with ± are estimated. {plaster.SETTING_SOURCE}",
        "computed",
    )


def oven_origin(group: "OvenGroup", settings: BenchSettings) -> Figure:
    """Where the settings and the blanks of an oven's group come from."""
    return Figure(
        group.words,
        {"": f"oven {group.oven or 'not said'}, sheet {group.sheet or 'not said'}"},
        f"The row of the lab's oven table for this sheet. {BLANK_FORMULA}",
        (group.words, f"margin {settings.shell_margin_mm:g} mm at each edge"),
        f"{group.source or NO_ROW} The blanks: {BLANK_SOURCE}",
        group.trust or "lab's own",
    )


class OvenGroup(NamedTuple):
    """What goes into the oven together: one material, one thickness."""

    words: str
    oven: str
    sheet: str
    minutes: str
    vacuum: str
    weak_vacuum: bool
    source: str
    trust: Trust | None
    blanks: list[tuple[str, str, str]]
    """Code, side, size in words."""
    cuts: list[Cut]
    """Where blanks are cut here: which sheets of the stock, by their lots, and where on them."""
    left_over: list[str]
    """Blanks that no sheet in stock holds."""
    cut_here: bool


def oven_load(rows: Sequence[Given], settings: BenchSettings, stock: Sequence[StockSheet]) -> list[OvenGroup]:
    """`stock` in the order in which sheets are begun."""
    groups: dict[tuple[str, float | None], list[Given]] = defaultdict(list)
    for row in sorted(rows, key=lambda row: (row.material, row.thickness_mm or 0)):
        groups[row.material, row.thickness_mm].append(row)
    return [_oven_group(material, thick, sides, settings, stock) for (material, thick), sides in groups.items()]


def _oven_group(
    material: str, thick: float | None, rows: Sequence[Given], settings: BenchSettings, stock: Sequence[StockSheet]
) -> OvenGroup:
    row = oven_row(settings, material, thick)
    cuts, left = _cut_from(material, thick, rows, settings, stock) if settings.cuts_blanks else ([], [])
    return OvenGroup(
        f"{MATERIALS.get(material, material)} {length_words(thick * 10) if thick else ''}".strip(),
        *_heat_words(row),
        row.source if row else "",
        row.trust if row else None,
        [(each.code, each.side, size_words(each)) for each in rows],
        cuts,
        left,
        settings.cuts_blanks,
    )


def _heat_words(row: Setting | None) -> tuple[str, str, str, str, bool]:
    """Oven, sheet, time, vacuum, and whether that is weak; empty where the table says nothing."""
    if row is None:
        return "", "", "", "", False
    weak = row.vacuum_inhg is not None and not heat.enough_vacuum(row.vacuum_inhg)
    return (
        between(row.oven_c, None, "°C"),
        between(row.sheet_low_c, row.sheet_high_c, "°C"),
        between(row.minutes_low, row.minutes_high, "min"),
        between(row.vacuum_inhg, None, "inHg"),
        weak,
    )


def size_words(row: Given) -> str:
    return f"{row.length_mm} × {row.width_mm}\u00a0mm" if row.width_mm else "measure the positive"


def _cut_from(
    material: str, thick: float | None, rows: Sequence[Given], settings: BenchSettings, stock: Sequence[StockSheet]
) -> tuple[list[Cut], list[str]]:
    """The sheets that are cut, and the names of the blanks for which there is none; what has no size is in neither."""
    blanks = [
        Blank(f"{row.code} {row.side}", row.width_mm, row.length_mm) for row in rows if row.width_mm and row.length_mm
    ]
    return laid_out(blanks, [each for each in stock if each.of == (material, thick)], settings.kerf_mm)


def worked_out(
    kind: str, rows: Sequence[Given], settings: BenchSettings, stock: Sequence[StockSheet]
) -> PourSheet | list[OvenGroup]:
    """The sheet of this kind, from the same values the same each time."""
    return pour_sheet(rows, settings) if kind == "pour" else oven_load(rows, settings, stock)
