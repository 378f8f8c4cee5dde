"""What a scanner sent: a pair's code, a job ticket, a parcel's slip, a lot's label, a badge or a card of the bench.

| kind | payload | values |
|---|---|---|
| code | `26-00417-D`, or as a hand types it | code |
| ticket | `26-00417-D/3` | code, number of the prescription |
| parcel | `PARCEL/12` | number |
| lot | `LOT/000012` | number |
| badge | `BADGE/` word and check character | word |
| card | `CARD/` word and check character | word |

The check character of badges and cards is ISO 7064 MOD 37,36 over all their letters and digits. It finds every single
wrong character and nearly every swap of neighbours (tests/trade/test_scans.py measures it). Each payload has exactly
one stroke, so that none can be lost, won or moved without the form telling. A ticket's version, a parcel's and a
lot's number have no check character: the square code's own correction guards them, and a wrong one names another
version, parcel or lot, never another kind. What a card does is said by app/bench/rules/cards.py.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from stdnum.iso7064 import mod_37_36

from app.trade import OutOfRange, codes, keyboards

Kind = Literal["code", "ticket", "parcel", "lot", "badge", "card"]
Sealed = Literal["BADGE", "CARD"]


@dataclass(frozen=True, slots=True)
class Scan:
    """`text` is the payload as it is printed, however it came in."""

    kind: Kind
    values: tuple[str, ...]
    text: str

    @property
    def number(self) -> int:
        """Of a ticket's prescription, a parcel or a lot."""
        return int(self.values[-1])


class BadScan(ValueError):
    """Nothing that a bench can act on; the sentence says what is wrong and what to do."""


class NotAScan(BadScan):
    """It has the form of nothing that is printed for a scanner."""


class MisreadScan(BadScan):
    """It has the form, but its check character does not fit: a character was read or typed wrongly."""


def sealed(kind: Sealed, word: str) -> str:
    """The payload of a badge or a card: `word` of upper-case letters and digits, and the check character over all."""
    if not re.fullmatch(r"[0-9A-Z]+", word):
        raise OutOfRange("word", word, "upper-case letters and digits alone")
    return f"{kind}/{word}{mod_37_36.calc_check_digit(kind + word)}"


def read(text: str) -> Scan:
    """The one thing that `text` says, on whatever keyboard it was typed; NotAScan or MisreadScan, both BadScan."""
    return keyboards.understood(text, _typed, _printed, MisreadScan)


def is_scan_like(text: str) -> bool:
    """Whether a search should take this for something scanned, and tell what is wrong with it, rather than for a label.

    Not for a code alone: codes.is_code_like knows more of what hands type.
    """
    return any(_SCAN_LIKE.match(each.strip()) for each in keyboards.readings(text))


def _typed(text: str) -> Scan:
    """What is printed, with blanks around it; or a code with both its hyphens or without any.

    With one of them alone, a hyphen that was misread could pass for a digit of the serial.
    """
    text = text.strip()
    try:
        return _printed(text)
    except NotAScan:
        if not _TYPED_CODE.fullmatch(text):
            raise
    code = _code(codes.typed, text)
    return Scan("code", (code,), code)


def _printed(text: str) -> Scan:
    for kind, (form, values) in _FORMS.items():
        if found := form.fullmatch(text):
            return Scan(kind, values(found), text.upper())
    raise NotAScan(
        f"'{codes.shown(text)}' is nothing that is printed for a scanner here: a job ticket, a parcel's slip, a lot's "
        "label, a badge or a card. Scan it again, or type a pair's code, such as 26-00417-D."
    )


def _code(reader: Callable[[str], str], text: str) -> str:
    try:
        return reader(text)
    except codes.WrongCheckCharacter as refusal:
        raise MisreadScan(str(refusal)) from None
    except codes.NotACode as refusal:
        raise NotAScan(str(refusal)) from None


def _of_pair(found: re.Match[str]) -> tuple[str, ...]:
    return (_code(codes.printed, found[1]), *found.groups()[1:])


def _numbered(found: re.Match[str]) -> tuple[str, ...]:
    return (str(int(found[1])),)


def _worded(found: re.Match[str]) -> tuple[str, ...]:
    text = found[0].upper()
    if not mod_37_36.is_valid(text.replace("/", "")):
        raise MisreadScan(
            f"'{codes.shown(text)}' was read or typed wrongly: its check character {text[-1]} does not fit. "
            "Scan it again."
        )
    return (found[1].upper(),)


def _form(pattern: str) -> re.Pattern[str]:
    return re.compile(pattern, re.ASCII | re.IGNORECASE)


_CODE = r"\d\d-\d{5,7}-[0-9A-Z]"
_FORMS: dict[Kind, tuple[re.Pattern[str], Callable[[re.Match[str]], tuple[str, ...]]]] = {
    "code": (_form(rf"({_CODE})"), _of_pair),
    "ticket": (_form(rf"({_CODE})/([1-9]\d{{0,3}})"), _of_pair),
    "parcel": (_form(r"PARCEL/([1-9]\d{0,8})"), _numbered),
    "lot": (_form(r"LOT/((?!0{6})\d{6}|[1-9]\d{6,8})"), _numbered),
    "badge": (_form(r"BADGE/([0-9A-Z]+)[0-9A-Z]"), _worded),
    "card": (_form(r"CARD/([0-9A-Z]+)[0-9A-Z]"), _worded),
}
"""How each is printed, and what it names."""
_SCAN_LIKE = _form(rf"(PARCEL|LOT|BADGE|CARD|{_CODE})/")
_TYPED_CODE = re.compile(r"\w{2}(\s*\W\s*\w{5,7}\s*\W\s*|\w{5,7})\w")
