"""What can a lab set for its bench? Plaster, margins, whether blanks are cut, its own oven table; and its form.

A value's unit stands in its name. What a lab has not set is the default here, which is common practice unless its
source stands beside it.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields, replace
from typing import Any, Literal, get_args

from app.bench.rules.stages import STAGES
from app.errors import BadInput
from app.orders.rules import MATERIALS
from app.trade import OutOfRange, heat, plaster
from app.trade.footmesh import FILL_HEIGHTS
from app.trade.heat import Setting, Trust
from app.trade.units import read_celsius, read_length

Kind = Literal["number", "choice", "yes"]
MOST_ROWS = 40


@dataclass(frozen=True, slots=True)
class BenchSettings:
    consistency: float = plaster.USUAL_CONSISTENCY
    waste_percent: float = plaster.USUAL_WASTE
    fill_height_mm: int = 60
    plaster_class: str = "medium"
    shell_margin_mm: float = 20.0
    cover_margin_mm: float = 5.0
    cuts_blanks: bool = False
    kerf_mm: int = 3
    oven: tuple[Setting, ...] = heat.DEFAULTS
    a_day: dict[str, float] = field(default_factory=dict)
    """Pairs a working day by stage. Where none is set, forecasts take what the lab's own last days show."""
    people: dict[str, int] = field(default_factory=dict)
    """How many work at a stage; the same."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One value on the settings page. A number lies from `low` to `high`; a choice is one of `options`."""

    label: str
    kind: Kind = "number"
    unit: str = ""
    low: float = 0.0
    high: float = 0.0
    options: tuple[tuple[str, str], ...] = ()
    hint: str = ""


CHOICES: dict[str, Choice] = {
    "consistency": Choice(
        "Consistency", unit="parts of water to 100 of plaster", low=plaster.HYDRATION, high=plaster.MOST_CONSISTENCY,
        hint="By mass. Take what your plaster's own sheet says; the default is common practice.",
    ),
    "waste_percent": Choice(
        "Waste", unit="%", high=plaster.MOST_WASTE, hint="What stays in the bowl. Common practice, no source."
    ),
    "fill_height_mm": Choice(
        "Casts are filled up to", "choice", options=tuple((str(mm), f"{mm} mm") for mm in FILL_HEIGHTS),
        hint="Above the lowest point of the heel.",
    ),
    "plaster_class": Choice(
        "Plaster", "choice",
        options=tuple((key, f"{each.words}, {each.final_set_min:g} min") for key, each in plaster.CLASSES.items()),
        hint=plaster.SETTING_SOURCE,
    ),
    "shell_margin_mm": Choice(
        "Margin of a shell's blank", unit="mm at each edge", high=100, hint="Common practice, no source."
    ),
    "cover_margin_mm": Choice(
        "Margin of a cover's blank", unit="mm at each edge", high=100, hint="Common practice, no source."
    ),
    "cuts_blanks": Choice(
        "Blanks are cut here, from the sheets in stock", "yes",
        hint="An oven load lays them out on the lots of sheets whose width and length stand with their material.",
    ),
    "kerf_mm": Choice("Width of the saw's cut", unit="mm", high=20),
}  # fmt: skip
WHOLE = frozenset({"kerf_mm", "fill_height_mm"})
CAPACITY: dict[str, tuple[str, str, float, float, bool]] = {
    "a_day": ("Pairs a day", "pairs a working day", 0.5, 5000, False),
    "people": ("People", "at once", 1, 200, False),
}
"""Of each bench stage: label, unit, range and whether it is needed."""
OVEN_NUMBERS: dict[str, tuple[str, str, float, float, bool]] = {
    "from_mm": ("From", "mm thick", heat.THINNEST_MM, heat.THICKEST_MM, True),
    "to_mm": ("To", "mm thick", heat.THINNEST_MM, heat.THICKEST_MM, True),
    "oven_c": ("Oven is set to", "°C", 40, heat.HOTTEST_C, False),
    "sheet_low_c": ("Sheet leaves it from", "°C", 40, heat.HOTTEST_C, False),
    "sheet_high_c": ("Sheet leaves it up to", "°C", 40, heat.HOTTEST_C, False),
    "minutes_low": ("Time from", "min", 0, 240, False),
    "minutes_high": ("Time up to", "min", 0, 240, False),
    "vacuum_inhg": ("Vacuum", "inHg", 0, 30, False),
    "shrinkage_percent": ("Shrinks", "%", 0, heat.MOST_SHRINKAGE, True),
}
"""Label, unit, range and whether it is needed."""
TRUSTS: tuple[str, ...] = get_args(Trust)
RISING = (("from_mm", "to_mm"), ("sheet_low_c", "sheet_high_c"), ("minutes_low", "minutes_high"))


def as_plain(settings: BenchSettings) -> dict[str, Any]:
    """As it is stored, and kept with what is printed by it."""
    plain = asdict(settings)
    return plain | {"oven": [dict(row) for row in plain["oven"]]}


def from_plain(plain: Mapping[str, Any]) -> BenchSettings:
    """What is not in it has its default; what this version does not know any more is left out."""
    known = {each.name: plain[each.name] for each in fields(BenchSettings) if each.name in plain}
    if "oven" in known:
        known["oven"] = tuple(Setting(**row) for row in known["oven"])
    return BenchSettings(**known)


def read(typed: Mapping[str, str], now: BenchSettings) -> BenchSettings:
    """The settings as they were typed; BadInput names each field at fault. Rows left empty or taken out are gone."""
    wrong: dict[str, str] = {}
    found: dict[str, Any] = {name: _read(typed, name, choice, wrong) for name, choice in CHOICES.items()}
    found |= {name: _by_stage(typed, name, getattr(now, name), wrong) for name in CAPACITY}
    found["oven"] = tuple(_oven_row(typed, number, wrong) for number in _numbers(typed))
    if wrong:
        raise BadInput("The bench's settings need another look; nothing was changed.", wrong)
    return replace(now, **found)


def _by_stage(typed: Mapping[str, str], name: str, now: Mapping[str, float], wrong: dict[str, str]) -> dict[str, Any]:
    """What a form has no field for stays as it is; an empty field takes it away."""
    found: dict[str, Any] = {}
    for stage in (each.key for each in STAGES.values() if each.bench):
        at = f"{name}.{stage}"
        if at not in typed:
            value = now.get(stage)
        else:
            value = _number(typed[at].strip(), at, CAPACITY[name], name == "people", wrong)
        if value is not None:
            found[stage] = value
    return found


def oven_words(row: Setting) -> str:
    """Both temperatures, each by its name: "oven 199 °C, sheet 152–166 °C"."""
    parts = [f"oven {row.oven_c:g}\u00a0°C"] if row.oven_c is not None else []
    if row.sheet_low_c is not None:
        parts.append(f"sheet {between(row.sheet_low_c, row.sheet_high_c, '°C')}")
    return ", ".join(parts) or "no temperature"


def between(low: float | None, high: float | None, unit: str) -> str:
    """ "152–166 °C", one figure where both are the same; empty where there is none."""
    ends = list(dict.fromkeys(f"{each:g}" for each in (low, high) if each is not None))
    return f"{'–'.join(ends)}\u00a0{unit}" if ends else ""


def _numbers(typed: Mapping[str, str]) -> list[int]:
    """The rows with a material that are not to be taken out, in their order."""
    rows = [number for number in range(MOST_ROWS) if typed.get(f"oven.{number}.material")]
    return [number for number in rows if f"oven.{number}.out" not in typed]


def _read(typed: Mapping[str, str], name: str, choice: Choice, wrong: dict[str, str]) -> Any:
    raw = typed.get(name, "").strip()
    if choice.kind == "yes":
        return bool(raw)
    if choice.kind == "choice":
        if raw not in dict(choice.options):
            wrong[name] = f"{choice.label}: choose one of the list."
        return int(raw) if name in WHOLE and raw.isdecimal() else raw
    return _number(raw, name, (choice.label, choice.unit, choice.low, choice.high, True), name in WHOLE, wrong)


def _number(
    raw: str, name: str, of: tuple[str, str, float, float, bool], whole: bool, wrong: dict[str, str]
) -> float | None:
    label, unit, low, high, needed = of
    if not raw and not needed:
        return None
    try:
        value = _measured(raw, unit)
    except ValueError:
        value = float("nan")
    if not low <= value <= high or (whole and value != int(value)):
        kind = "a whole number" if whole else "a number"
        wrong[name] = f"{label}: {kind} from {low:.4g} to {high:g} ({unit}); '{raw[:20]}' is not."
        return None
    return int(value) if whole else value


def _measured(raw: str, unit: str) -> float:
    """In the field's own unit, whatever unit was typed."""
    if unit == "°C":
        return round(read_celsius(raw), 1)
    return read_length(raw) / 10 if unit.startswith("mm") else float(raw.replace(",", "."))


def _material(typed: Mapping[str, str], name: str, wrong: dict[str, str]) -> str:
    if (material := typed[name]) not in MATERIALS:
        wrong[name] = f"One of {', '.join(MATERIALS)}; '{material[:20]}' is none of them."
    return material


def _oven_row(typed: Mapping[str, str], number: int, wrong: dict[str, str]) -> Setting:
    at = f"oven.{number}."
    values: dict[str, Any] = {
        name: _number(typed.get(at + name, "").strip(), at + name, of, False, wrong)
        for name, of in OVEN_NUMBERS.items()
    }
    for low, high in RISING:
        if None not in (values[low], values[high]) and values[low] > values[high]:
            wrong[at + high] = f"{OVEN_NUMBERS[high][0]} is less than {OVEN_NUMBERS[low][0].lower()}."
    trust, source = typed.get(f"{at}trust", ""), typed.get(f"{at}source", "").strip()
    if trust not in TRUSTS:
        wrong[f"{at}trust"] = "Say how far this row may be trusted."
    if not 1 <= len(source) <= 400:
        wrong[f"{at}source"] = "Say where this row comes from, in at most 400 characters."
    return Setting(material=_material(typed, f"{at}material", wrong), source=source, trust=trust, **values)  # type: ignore[arg-type]


def oven_row(settings: BenchSettings, material: str | None, thickness_mm: float | None) -> Setting | None:
    """The table's row for this sheet; None where it has none or the prescription does not say the sheet."""
    if not material or thickness_mm is None:
        return None
    try:
        return heat.setting(settings.oven, material, thickness_mm)
    except OutOfRange:
        return None
