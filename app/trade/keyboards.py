"""What a scanner meant that presses the keys of a US keyboard while the computer believes in another one.

A scanner sends keys, not characters. Set to a US keyboard, as many are when new, on a tablet set to a German or French
one it presses the right keys and other characters come out: `26-00417-D/3` becomes `26ß00417ßD-3` or
`é-)àà'&è)D!"`. CapsLock swaps the case of letters, and of which other keys depends on the system: of digits and most
signs on a German Windows (from memory), of `é` and `ß` on Linux, of none on Android. So both characters of a key are
read as that key, and case is not told apart.

The layouts are the German QWERTZ (T1) and the French AZERTY, as far as our payloads need them: written down from
memory, and the same as X.Org's, which tests/outside/test_keyboards.py presses key by key where it is installed.
"""

import re
from collections.abc import Callable, Hashable
from typing import TypeVar

Meaning = TypeVar("Meaning", bound=Hashable)

US = "1234567890-qwertyuiop]asdfghjklzxcvbnm/"
"""The keys that payloads need, by what a US keyboard types with them."""
LAYOUTS = {
    "German": ("1234567890ßqwertzuiop+asdfghjklyxcvbnm-", '!"§$%&/()=?QWERTZUIOP*ASDFGHJKLYXCVBNM_'),
    "French": ("&é\"'(-è_çà)azertyuiop$qsdfghjklwxcvbn,!", "1234567890°AZERTYUIOP£QSDFGHJKLWXCVBN?§"),
}
"""The same keys elsewhere: alone, and with Shift."""
_KEYS = [
    {typed.lower(): meant.upper() for row in rows for typed, meant in zip(row, US, strict=True)}
    for rows in LAYOUTS.values()
]
# Some scanners put the symbology's name in front: "]Q1" for a QR code, "]C0" for a bar code (ISO/IEC 15424).
_SYMBOLOGY = re.compile(r"^\s*\][A-Za-z][0-9A-Za-z]")


def readings(text: str) -> list[str]:
    """`text` as it stands, then what it was meant to be on each other keyboard that can have typed all of it.

    Without the name of the symbology in front.
    """
    typed = text.strip().lower()
    meant = ["".join(keys[character] for character in typed) for keys in _KEYS if typed and keys.keys() >= set(typed)]
    return [_SYMBOLOGY.sub("", each) for each in (text, *meant)]


def understood(
    text: str, as_typed: Callable[[str], Meaning], as_printed: Callable[[str], Meaning], misread: type[ValueError]
) -> Meaning:
    """What `text` says: as it stands by `as_typed`, else on another keyboard by `as_printed`, which is strict.

    Both raise ValueError for what they can't read. Two keyboards on which it would say different things are none. Of
    several refusals a `misread` one is raised: it has found a form, so it tells more.
    """
    first, *others = readings(text)
    refusals: list[ValueError] = []
    meanings: set[Meaning] = set()
    try:
        return as_typed(first)
    except ValueError as refusal:
        refusals.append(refusal)
    for each in others:
        try:
            meanings.add(as_printed(each))
        except ValueError as refusal:
            refusals.append(refusal)
    if len(meanings) == 1:
        return meanings.pop()
    raise next((each for each in refusals if isinstance(each, misread)), refusals[0])
