"""The units that people measure in, at the door: tenths of a millimetre, kilograms and Celsius are what is kept.

What was typed may name its own unit ("9 3/4 in", "2.5 mm", "390 F"); otherwise it is in the units of who types it.
"""

import re
from collections.abc import Collection
from fractions import Fraction

from app.trade import OutOfRange

LENGTH = {"metric": "mm", "imperial": "in"}
"""The unit in which a field takes and shows a length, by system."""
MASS = {"metric": "kg", "imperial": "lb"}
MOST_MEASURED = 100_000
"""In any unit; far beyond what a lab measures, so that a slip of the keyboard is told rather than converted."""
POUND = Fraction(45359237, 100_000_000)
"""Kilograms; exact by the agreement of 1959, as is the inch of 25.4 mm."""

_TENTHS = {"mm": 10, "cm": 100, "in": 254, '"': 254, "″": 254}
_KILOGRAMS = {"kg": Fraction(1), "lb": POUND, "lbs": POUND}
# A whole number before a fraction; a number with point or comma, or a fraction; a unit.
_TYPED = re.compile(r"\s*(?:(\d+)\s+(?=\d+/))?(-?\d+/[1-9]\d*|-?\d*[.,]?\d+|-?\d+[.,])\s*([^\d\s.,/-]*)\s*")


def read_length(text: str, system: str = "metric") -> int:
    """Tenths of a millimetre, rounded to the nearest; OutOfRange for what is no length."""
    number, unit = _parts(text, "length", LENGTH[system])
    _known(text, "length", unit, _TENTHS)
    return round(number * _TENTHS[unit])


def read_mass(text: str, system: str = "metric") -> float:
    """Kilograms, rounded to a tenth; OutOfRange for what is no mass."""
    number, unit = _parts(text, "mass", MASS[system])
    _known(text, "mass", unit, _KILOGRAMS)
    return round(float(number * _KILOGRAMS[unit]), 1)


def read_celsius(text: str) -> float:
    """Degrees Celsius, of Fahrenheit where the text says so; OutOfRange for what is no temperature."""
    number, unit = _parts(text.replace("°", ""), "temperature", "c", least=-460)
    _known(text, "temperature", unit, ("c", "f"))
    return float(number) if unit == "c" else float((number - 32) * 5 / 9)


def length_typed(tenths: int, system: str = "metric") -> str:
    """As a field shows it: read again, it is the same tenth of a millimetre."""
    return f"{mm(tenths):g}" if system == "metric" else f"{tenths / 254:.3f}".rstrip("0").rstrip(".")


def length_words(tenths: float, system: str = "metric") -> str:
    """35 is "3.5 mm", 40 is "4.0 mm": a sheet's thickness is written with its tenth; inches to the thousandth."""
    return f"{tenths / 10:.1f}\u00a0mm" if system == "metric" else f"{tenths / 254:.3f}\u00a0in"


def mass_typed(kg: float, system: str = "metric") -> str:
    """As a field shows it: read again, it is the same tenth of a kilogram."""
    return f"{kg:g}" if system == "metric" else f"{kg / float(POUND):.1f}"


def mass_words(kg: float, system: str = "metric") -> str:
    return f"{mass_typed(kg, system)}\u00a0{MASS[system]}"


def mm(tenths: float) -> float:
    return tenths / 10


def _parts(text: str, field: str, unit: str, least: int = 0) -> tuple[Fraction, str]:
    """The number and its unit, in lower case; `unit` where none was typed."""
    form = _TYPED.fullmatch(text)
    if form is None:
        raise OutOfRange(field, f"'{_shown(text)}'", f"a number, such as 2.5 {unit}")
    number = Fraction(form[2].replace(",", ".")) + int(form[1] or 0)
    if not least <= number <= MOST_MEASURED:
        raise OutOfRange(field, f"'{_shown(text)}'", f"a number from {least} to {MOST_MEASURED}")
    return number, (form[3] or unit).lower()


def _known(text: str, field: str, unit: str, units: Collection[str]) -> None:
    if unit not in units:
        raise OutOfRange(field, f"'{_shown(text)}'", f"in {' or '.join(units)}")


def _shown(text: str) -> str:
    return " ".join(text.split())[:20]
