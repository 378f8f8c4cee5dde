"""The trade's arithmetic, pure: numbers in, numbers out, every formula with its source. Imports nothing of the app."""


class OutOfRange(ValueError):
    """A number that the formula is not made for; says the field, the value and the range."""

    def __init__(self, field: str, value: object, allowed: str) -> None:
        super().__init__(f"{field} is {value}; it has to be {allowed}.")
        self.field = field
        self.value = value
        self.allowed = allowed
