"""The trade's arithmetic, pure: numbers in, numbers out, every formula with its source. Imports nothing of the app."""

from math import isfinite


class OutOfRange(ValueError):
    """A number that the formula is not made for; says the field, the value and the range."""

    def __init__(self, field: str, value: object, allowed: str) -> None:
        super().__init__(f"{field} is {value}; it has to be {allowed}.")
        self.field = field
        self.value = value
        self.allowed = allowed


def within(field: str, value: float, least: float, most: float, unit: str, *, above: bool = False) -> None:
    """OutOfRange unless `value` is a number from `least` to `most`; with `above` it may not be `least` itself."""
    if not (isfinite(value) and least <= value <= most) or (above and value == least):
        shown = f"above {least:g} and at most {most:g}" if above else f"from {least:g} to {most:g}"
        raise OutOfRange(field, f"{value:g} {unit}", f"{shown} {unit}")
