"""Which lot may go into which side, at which stage? The kinds of materials, and reading what was typed of them.

Amounts are hundredths of the material's unit, thickness is in tenths of a millimetre; both as integers.
"""

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, NamedTuple

from app.bench.rules.stages import STAGES
from app.errors import BadInput
from app.orders.rules import COVERS, ITEMS, MATERIALS, Body

HELD = "lot_held"
"""The reason for which a pair stands still while a lot in it is held."""


@dataclass(frozen=True, slots=True)
class Kind:
    key: str
    words: str
    stage: str
    """Where its lot is noted."""
    unit: str
    """Offered on the form."""
    item: str = ""
    """The prescription's item that names the material; empty where any will do."""
    choices: Mapping[str, str] | None = None
    goes_with: str = ""
    """The item without which one tap does not note it, though it may be picked."""

    @property
    def thickness(self) -> str:
        return f"{self.item}_thickness"


KINDS: dict[str, Kind] = {
    kind.key: kind
    for kind in (
        Kind("plaster", "plaster", "pour", "g"),
        Kind("sheet", "sheet for shells", "press", "sheet", "shell", MATERIALS),
        Kind("cover", "cover", "cover", "sheet", "cover", {k: v for k, v in COVERS.items() if k != "none"}),
        Kind("adhesive", "adhesive", "cover", "ml", goes_with="cover"),
    )
}
NOTED_AT = frozenset(kind.stage for kind in KINDS.values())
UNITS = {"sheet": "sheets", "g": "g", "ml": "ml", "piece": "pieces"}
MOST = 1_000_000
"""Units. Plain sense, no source: a larger amount is a slip of the hand."""
SMALLEST_MM, LARGEST_MM = 10, 3_000


class LotRow(NamedTuple):
    """A lot with what is asked of its material."""

    id: int
    number: str
    material_id: int
    kind: str
    name: str
    material: str | None
    thickness: int | None
    unit: str
    per_side: int
    received_on: date
    expires_on: date | None
    stock: int
    held: bool
    last_used_at: datetime | None
    in_use_since: datetime | None

    @property
    def of(self) -> tuple[str | None, int | None]:
        return self.material, self.thickness

    def expired(self, today: date) -> bool:
        return self.expires_on is not None and self.expires_on < today

    def unfit(self, today: date) -> str:
        """Why nobody begins with it, after "lot A 100"; empty where one can."""
        if self.held:
            return "is held"
        if self.expired(today):
            return "has expired"
        return "is used up" if self.stock <= 0 else ""

    def why_not(self, today: date) -> str | None:
        """Why it can't be picked; None when it can."""
        if self.held:
            return f"Lot {self.number} of {self.name} is held: nothing is made from it."
        if self.expired(today):
            return f"Lot {self.number} of {self.name} has expired on {self.expires_on}; take another."
        return None


def fits(kind: str, material: str | None, thickness: int | None, items: Mapping[str, Any]) -> bool:
    """Whether a side with these items of its prescription is made from it."""
    of = KINDS[kind]
    return not of.item or wanted(of, items) == (material, thickness)


def sides_of(lot: LotRow, body: Body, sides: str) -> str:
    return "".join(side for side in sides if fits(lot.kind, lot.material, lot.thickness, body.get(side, {})))


def read_ids(raw: Any) -> list[int]:
    """The numbers of the lots that an act names, each once."""
    given = raw if isinstance(raw, list | tuple) else [raw]
    if any(isinstance(each, bool) or not isinstance(each, int) or not 0 < each < 2**31 for each in given):
        words = "The lots that went in are a list of their numbers."
        raise BadInput(words, {"lots": words})
    return sorted(set(given))


def went_in(
    asked: Sequence[int], lots: Collection[LotRow], done: Collection[str], body: Body, sides: str, today: date
) -> list[tuple[LotRow, str]]:
    """Each lot with the sides it went into, when the stages `done` are done for `sides`.

    BadInput names every lot that can't be: unknown, held, expired, not of this work, or of another material.
    """
    wrong, found = [], []
    unknown = set(asked) - {lot.id for lot in lots}
    wrong += [f"There is no lot with the number {number}." for number in sorted(unknown)]
    for lot in lots:
        stage = KINDS[lot.kind].stage
        mine = sides_of(lot, body, sides)
        if why := lot.why_not(today):
            wrong.append(why)
        elif stage not in done:
            wrong.append(f"{lot.name} is noted at '{STAGES[stage].queue}', not here.")
        elif not mine:
            wrong.append(f"{lot.name} is not what is prescribed: {_prescribed(KINDS[lot.kind], body, sides)}.")
        else:
            found.append((lot, mine))
    if wrong:
        raise BadInput(" ".join(wrong), {"lots": " ".join(wrong)})
    return found


def _prescribed(kind: Kind, body: Body, sides: str) -> str:
    needed = dict.fromkeys(wanted(kind, body.get(side, {})) for side in sides)
    return " and ".join(material_words(kind.key, *each) for each in needed)


def asked_for(kind: Kind) -> tuple[str, ...]:
    """The prescription's items on which it depends whether a side is made from it."""
    return tuple(name for name in (kind.item, kind.item and kind.thickness, kind.goes_with) if name)


def wanted(kind: Kind, items: Mapping[str, Any]) -> tuple[str | None, int | None]:
    """Material and thickness of this kind that a side's prescription names."""
    return items.get(kind.item), items.get(kind.thickness)


def material_words(kind: str, material: str | None, thickness: int | None) -> str:
    """ "polypropylene 4 mm", or the kind where the material does not matter."""
    choices = KINDS[kind].choices
    if choices is None:
        return KINDS[kind].words
    if material is None or material not in choices:
        return f"no {KINDS[kind].words}"
    return choices[material] + (f" {thickness / 10:g} mm" if thickness else "")


def amount_words(amount: int, unit: str) -> str:
    """ "1.5 sheets", "350 g"."""
    many = UNITS.get(unit, unit) if amount != 100 else unit
    return f"{amount / 100:,.2f}".rstrip("0").rstrip(".") + f"\u00a0{many}"


def number_key(number: str) -> str:
    """A lot's number as it is searched: letters and digits alone, in capitals."""
    return re.sub(r"[\W_]+", "", number).upper()


def read_material(typed: Mapping[str, str]) -> dict[str, Any]:
    """A material as the form has it; every fault is named at its field."""
    wrong: dict[str, str] = {}
    kind = KINDS.get(typed.get("kind", ""))
    if kind is None:
        wrong["kind"] = f"Choose what it is: {', '.join(each.words for each in KINDS.values())}."
    name = typed.get("name", "").strip()
    if not 1 <= len(name) <= 80:
        wrong["name"] = "It needs a name of at most 80 characters, as it is called at the bench."
    unit = typed.get("unit", "")
    if unit not in UNITS:
        wrong["unit"] = f"Choose what it is counted in: {', '.join(UNITS.values())}."
    values: dict[str, Any] = {"kind": typed.get("kind", ""), "name": name, "unit": unit}
    values |= _matched(kind, typed, wrong) if kind else {}
    values["per_side"] = read_amount(typed.get("per_side", ""), "per_side", "What one side takes", wrong)
    values["low"] = read_amount(typed.get("low", "").strip() or "0", "low", "The limit", wrong, least=0)
    for field in ("width_mm", "length_mm"):
        values[field] = _size(typed.get(field, "").strip(), field, wrong)
    if wrong:
        raise BadInput("The material needs another look; nothing was changed.", wrong)
    return values


def _matched(kind: Kind, typed: Mapping[str, str], wrong: dict[str, str]) -> dict[str, Any]:
    if kind.choices is None:
        return {"material": None, "thickness": None}
    if typed.get("material", "") not in kind.choices:
        wrong["material"] = f"A {kind.words} is of {', '.join(kind.choices.values())}: choose one."
    item, raw = ITEMS[kind.thickness], typed.get("thickness", "").strip()
    tenths = _number(raw, 10)
    if tenths is None or not item.low <= tenths <= item.high:
        wrong["thickness"] = f"A thickness is a number of millimetres from {item.low / 10:g} to {item.high / 10:g}."
    return {"material": typed.get("material"), "thickness": tenths}


def _size(raw: str, field: str, wrong: dict[str, str]) -> int | None:
    if not raw:
        return None
    size = _number(raw, 1)
    if size is None or not SMALLEST_MM <= size <= LARGEST_MM:
        wrong[field] = f"A sheet is from {SMALLEST_MM} to {LARGEST_MM} mm; '{raw[:20]}' is not."
    return size


def read_amount(raw: str, field: str, what: str, wrong: dict[str, str], least: int = 1) -> int:
    """Hundredths; `least` is 0 where nothing is an amount, too."""
    amount = _number(raw.strip(), 100)
    if amount is None or not least <= amount <= MOST * 100:
        typed = f"; '{raw.strip()[:20]}' is not" if raw.strip() else ""
        wrong[field] = f"{what} is a number from {least / 100:g} to {MOST:,}{typed}."
        return 0
    return amount


def _number(raw: str, times: int) -> int | None:
    """A number of at most nine characters, a comma for a point, as a whole number of its parts."""
    if not re.fullmatch(r"(?a:\d+([.,]\d+)?)", raw) or len(raw) > 9:
        return None
    return round(float(raw.replace(",", ".")) * times)


class NewLot(NamedTuple):
    number: str
    received_on: date
    expires_on: date | None
    stock: int


def read_lot(typed: Mapping[str, str], today: date) -> NewLot:
    """A delivery as the form has it. What has expired already is taken down, too: then it is known to lie there."""
    wrong: dict[str, str] = {}
    number = typed.get("number", "").strip()
    if not number_key(number) or len(number) > 40:
        wrong["number"] = "Type the lot number from the pack, at most 40 characters."
    received = read_day(typed.get("received_on", "").strip() or today.isoformat(), "received_on", wrong)
    expires = typed.get("expires_on", "").strip()
    expires_on = read_day(expires, "expires_on", wrong) if expires else None
    if received and received > today:
        wrong["received_on"] = "It can't have come on a day that is still ahead."
    stock = read_amount(typed.get("stock", ""), "stock", "What has come", wrong)
    if wrong or received is None:
        raise BadInput("The lot needs another look; nothing was added.", wrong)
    return NewLot(number, received, expires_on, stock)


def read_day(raw: str, field: str, wrong: dict[str, str]) -> date | None:
    try:
        return date.fromisoformat(raw)
    except ValueError:
        wrong[field] = f"A day reads like 2026-12-04; '{raw[:20]}' does not."
        return None


def read_reason(raw: str, what: str, wrong: dict[str, str] | None = None) -> str:
    """The words, or BadInput together with whatever else is `wrong`."""
    wrong = dict(wrong or {})
    if not raw.strip():
        wrong["reason"] = f"Say why {what}; it is kept."
    if wrong:
        raise BadInput(" ".join(wrong.values()), wrong)
    return raw.strip()[:2000]


def lot_payload(lot_id: int) -> str:
    """What a lot's label says to a scanner; long enough to be told from typing."""
    return f"LOT/{lot_id:06d}"
