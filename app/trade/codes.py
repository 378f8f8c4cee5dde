"""The code of a pair: made, checked and read back from what a person typed or a scanner sent.

`26-00417-D` is two digits of the year, a serial of five to seven digits and one check character by ISO 7064
MOD 37,36 over the digits without hyphens. Serials whose check character would be O or I are skipped, because they
look like digits; a wrong character is caught before any look-up.
"""

import re

from stdnum.iso7064 import mod_37_36

from app.trade import OutOfRange

LOOKALIKES = ("O", "I")
_FORM = re.compile(r"(\d{2})(\d{5,7})([0-9A-Z])")
_DASHES = str.maketrans("", "", "-\u2010\u2011\u2012\u2013\u2014\u2212_/. \t\r\n")


class BadCode(ValueError):
    """What was typed or scanned is no pair's code; the sentence says what is wrong with it."""


def check_character(year: int, serial: int) -> str:
    return str(mod_37_36.calc_check_digit(_digits(year, serial)))


def is_skipped(year: int, serial: int) -> bool:
    return check_character(year, serial) in LOOKALIKES


def pair_code(year: int, serial: int) -> str:
    """`year` is two digits, `serial` from 1 to 9999999 and not a skipped one."""
    check = check_character(year, serial)
    if check in LOOKALIKES:
        raise OutOfRange("serial", serial, "one whose check character is neither O nor I")
    return f"{year:02d}-{serial:05d}-{check}"


def next_serial(year: int, serial: int) -> int:
    """The first usable serial after this one."""
    serial += 1
    while is_skipped(year, serial):
        serial += 1
    return serial


def parse(text: str) -> str:
    """The canonical code in `text`; case, blanks and any kind of dash do not matter."""
    bare = text.upper().translate(_DASHES)
    form = _FORM.fullmatch(bare)
    if form is None:
        raise BadCode(f"'{text.strip()[:40]}' does not read like a pair's code, such as 26-00417-D.")
    year, serial, check = form.groups()
    if len(serial) > 5 and serial.startswith("0"):
        raise BadCode(f"'{text.strip()[:40]}' has a zero too many.")
    if not mod_37_36.is_valid(bare) or check in LOOKALIKES:
        raise BadCode(f"'{text.strip()[:40]}' has a wrong character in it: the check character {check} does not fit.")
    return f"{year}-{serial}-{check}"


def is_code_like(text: str) -> bool:
    """Whether a search should look for a code rather than a label; says nothing of whether it is right."""
    return _FORM.fullmatch(text.upper().translate(_DASHES)) is not None


def normalise(text: str) -> str:
    """Upper case, letters and digits alone: what codes and labels are searched by."""
    return "".join(character for character in text.upper() if character.isalnum())


def _digits(year: int, serial: int) -> str:
    if not 0 <= year <= 99:
        raise OutOfRange("year", year, "two digits, 0 to 99")
    if not 1 <= serial <= 9_999_999:
        raise OutOfRange("serial", serial, "from 1 to 9999999")
    return f"{year:02d}{serial:05d}"
