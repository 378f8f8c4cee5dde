"""The code of a pair: made, checked and read back from what a person typed or a scanner sent.

`26-00417-D` is two digits of the year, a serial of five to seven digits and one check character by ISO 7064
MOD 37,36 over the digits without hyphens. Serials whose check character would be O or I are skipped, because they
look like digits; a wrong character is caught before any look-up. Which serial is the next one is asked of the
database, by who places an order.
"""

import re
import unicodedata

from stdnum.iso7064 import mod_37_36

from app.trade import OutOfRange, keyboards

LOOKALIKES = ("O", "I")
LAST_SERIAL = 9_999_999
_FORM = re.compile(r"[\W_]*([0-9OIL]{2})[\W_]*([0-9OIL]{5,7})[\W_]*([0-9A-Z])[\W_]*")
_PRINTED = re.compile(r"(\d\d)-(\d{5,7})-([0-9A-Z])", re.ASCII | re.IGNORECASE)
_HYPHENATED = re.compile(r"[0-9]{2}[^0-9A-Z]+[0-9]{5,7}[^0-9A-Z]+[0-9A-Z]")
_AS_DIGITS = str.maketrans("OIL", "011")
_AS_CHECK = str.maketrans("OI", "01")


class BadCode(ValueError):
    """What was typed or scanned is no pair's code; the sentence says what is wrong and what to do."""


class NotACode(BadCode):
    """It does not have the form of a code at all."""


class WrongCheckCharacter(BadCode):
    """It has the form, but some character of it was misread, mistyped or swapped."""


def check_character(year2: int, serial: int) -> str:
    """ISO 7064 MOD 37,36 over the year's two digits and the serial's five to seven; may be a skipped O or I."""
    return str(mod_37_36.calc_check_digit(_digits(year2, serial)))


def is_skipped(year2: int, serial: int) -> bool:
    """Whether no pair gets this serial because its check character would look like a digit."""
    return check_character(year2, serial) in LOOKALIKES


def pair_code(year2: int, serial: int) -> str:
    """`year2` is 0 to 99, `serial` from 1 to 9999999 and not a skipped one; anything else is OutOfRange."""
    check = check_character(year2, serial)
    if check in LOOKALIKES:
        raise OutOfRange("serial", serial, "one whose check character is neither O nor I")
    return f"{year2:02d}-{serial:05d}-{check}"


def next_serial(year2: int, serial: int) -> int:
    """The first usable serial after this one; 0 asks for the year's first. Past 9999999 it is OutOfRange."""
    serial += 1
    while is_skipped(year2, serial):
        serial += 1
    return serial


def parse(text: str) -> str:
    """The canonical code in `text`, from a hand or from a scanner on whatever keyboard app/trade/keyboards.py knows.

    Raises NotACode or WrongCheckCharacter, both BadCode.
    """
    return keyboards.understood(text, typed, printed, WrongCheckCharacter)


def typed(text: str) -> str:
    """The canonical code in what a hand typed; case, blanks, hyphens and any kind of dash do not matter.

    O, I and L among the digits are read as 0, 1 and 1, and O or I at the end as 0 and 1, since none of them is
    ever printed there. Nothing but a blank may part the digits of a serial: what follows a code, such as the
    prescription's number on a ticket, would else be drawn into it.
    """
    form = _FORM.fullmatch(_joined(text))
    if form is None:
        raise NotACode(
            f"'{shown(text)}' does not read like a pair's code, such as 26-00417-D: the year in two digits, "
            "five to seven digits and one more letter or digit. Scan it again, or type all of it."
        )
    return _checked(form[1].translate(_AS_DIGITS), form[2].translate(_AS_DIGITS), form[3].translate(_AS_CHECK), text)


def printed(text: str) -> str:
    """The canonical code in what has to be it as it is printed, but for its case."""
    form = _PRINTED.fullmatch(text)
    if form is None:
        raise NotACode(f"'{shown(text)}' is no pair's code as it is printed, such as 26-00417-D.")
    return _checked(form[1], form[2], form[3].upper(), text)


def _checked(year2: str, serial: str, check: str, text: str) -> str:
    if not int(serial) or (len(serial) > 5 and serial.startswith("0")):
        raise NotACode(
            f"'{shown(text)}' does not read like a pair's code: a serial is never zero, and one of more than "
            "five digits has no zero in front. Scan it again, or type all of it."
        )
    if not mod_37_36.is_valid(year2 + serial + check):
        raise WrongCheckCharacter(
            f"'{shown(text)}' has the form of a pair's code, but a character of it is wrong or two are swapped: "
            f"the check character {check} does not fit. Compare it with the label, or scan it again."
        )
    return f"{year2}-{serial}-{check}"


def is_code_like(text: str) -> bool:
    """Whether a search should look for a code rather than for a label or chart number.

    True for what is written with its two hyphens even if its check character is wrong, so that the mistake is
    told; bare digits, which could as well be a chart number, count only when the check character fits.
    """
    if any(_HYPHENATED.fullmatch(each.strip().upper()) for each in keyboards.readings(text)):
        return True
    try:
        parse(text)
    except BadCode:
        return False
    return True


def normalise(text: str) -> str:
    """Upper case, letters and digits alone: what codes, labels and chart numbers are stored and searched by."""
    return "".join(character for character in unicodedata.normalize("NFKC", text).upper() if character.isalnum())


def shown(text: str) -> str:
    """The beginning of what was typed or scanned, for a sentence."""
    return " ".join(text.split())[:40]


def _joined(text: str) -> str:
    """Upper case, without blanks and without characters that can't be seen."""
    plain = unicodedata.normalize("NFKC", text).upper()
    return "".join(each for each in plain if not each.isspace() and unicodedata.category(each) != "Cf")


def _digits(year2: int, serial: int) -> str:
    if not 0 <= year2 <= 99:
        raise OutOfRange("year", year2, "two digits, 0 to 99")
    if not 1 <= serial <= LAST_SERIAL:
        raise OutOfRange("serial", serial, f"from 1 to {LAST_SERIAL}")
    return f"{year2:02d}{serial:05d}"
