"""Who a person is to the rest of the house: roles, the small value that every page and act is given, secrets' form."""

import hashlib
import secrets
from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import pairwise

from app.trade import scans


class Role(StrEnum):
    TECHNICIAN = "technician"
    CLINICIAN = "clinician"
    MANAGER = "manager"


@dataclass(frozen=True, slots=True)
class Viewer:
    """The person asking, as of this request; roles add up, `clinics` are the own ones."""

    staff_id: int
    name: str
    roles: frozenset[Role]
    clinics: frozenset[int]
    zone: str
    units: str = "metric"
    """In which lengths and mass are typed and shown: metric or imperial."""
    station: str = ""
    """The tablet of the bench at which the person signed on; empty for who signed in as everywhere."""

    def at(self, clinic_id: int) -> "Viewer":
        """The same person as far as one clinic's pairs go: a clinician is one at the own clinics alone."""
        if clinic_id in self.clinics or Role.CLINICIAN not in self.roles:
            return self
        return replace(self, roles=self.roles - {Role.CLINICIAN})

    def has(self, *roles: Role) -> bool:
        return not self.roles.isdisjoint(roles)


def units_of(clinics: Iterable[str | None]) -> str:
    """The units of a person of these clinics (None: of no clinic): imperial where all of them are."""
    return "imperial" if set(clinics) == {"imperial"} else "metric"


WAITS_FOR = {"approval": "the payer's approval", "payment": "the payment"}
"""What a clinic may let dispensing wait for; how these stand, the orders know."""


def hash_of(token: str) -> str:
    """What is stored of a secret link or session: it is long and random, so its digest can't be guessed back."""
    return hashlib.sha256(token.encode()).hexdigest()


def token_mark(token_hash: str) -> str:
    """What tells a person's tokens apart on pages and in the log; neither token nor digest is given away by it."""
    return token_hash[:10]


def new_token() -> str:
    return secrets.token_urlsafe(32)


def email_fault(email: str) -> str | None:
    """What is wrong with an e-mail address; None if it can be one. Whether it exists, only a letter to it tells."""
    name, at, place = email.partition("@")
    if not (name and at and place) or "@" in place or any(c.isspace() for c in email) or len(email) > 200:
        return "An e-mail address reads like name@place.example."
    return None


SHORTEST = 12
TOO_USUAL = ("password", "passwort", "qwertyuiop", "1234567890", "letmein", "orthotic", "pairtrail", "iloveyou")


def password_fault(password: str, email: str, name: str, lab: str) -> str | None:
    """What is wrong with a new password; None if it will do. Length counts, not the kinds of characters."""
    low = password.lower()
    if len(password) < SHORTEST:
        return f"A password has at least {SHORTEST} characters; a few words in a row are easy to remember."
    if len(password) > 200:
        return "A password has at most 200 characters."
    own_words = f"{email.split('@', maxsplit=1)[0]} {name} {lab}".lower().split()
    own = [word for word in own_words if len(word) > 3]
    if any(low.replace(part, "").strip("0123456789!?. -_") == "" for part in (*own, *TOO_USUAL)):
        return "This is among the first that anyone would try. Take a few words that have nothing to do with you."
    if len(set(low)) < 5:
        return "This repeats the same few characters. Take a few words in a row."
    return None


BADGE = "BADGE/"
BADGE_ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Douglas Crockford's base 32 (crockford.com/base32.html, from memory): no I, L, O and U."""
BADGE_LENGTH = 26
"""Characters of five bits each: 130 bits that nobody can guess."""


class BadBadge(ValueError):
    """What was typed or scanned is no badge. The sentence never repeats it: it may be nearly one."""


def new_badge() -> str:
    """A badge's payload, as app/trade/scans.py reads it.

    Payloads whose check character is outside of the alphabet are not given out: it would be taken for a digit.
    """
    while True:
        payload = scans.sealed("BADGE", "".join(secrets.choice(BADGE_ALPHABET) for _ in range(BADGE_LENGTH)))
        if payload[-1] in BADGE_ALPHABET:
            return payload


def read_badge(text: str) -> str:
    """The payload in `text` as it was given out, whatever the keyboard. Raises BadBadge."""
    try:
        scan = scans.read(text.replace(" ", ""))
    except scans.MisreadScan:
        words = "A character of this badge was misread or mistyped: the last one does not fit. Scan it again."
        raise BadBadge(words) from None
    except scans.BadScan:
        scan = None
    if scan is None or scan.kind != "badge" or len(scan.values[0]) != BADGE_LENGTH:
        raise BadBadge(f"This does not read like a badge: {BADGE} and 27 letters and digits. Scan it again.")
    return scan.text


def pin_fault(pin: str) -> str | None:
    """What is wrong with a new PIN; None if it will do."""
    if not (pin.isascii() and pin.isdecimal() and 4 <= len(pin) <= 8):
        return "A PIN is four to eight digits."
    steps = {(int(after) - int(before)) % 10 for before, after in pairwise(pin)}
    repeats = any(pin == pin[:length] * (len(pin) // length) for length in range(1, len(pin) // 2 + 1))
    if repeats or steps in ({1}, {9}):
        return (
            "Digits that repeat or run, as in 0000, 1212 or 1234, are among the first that anyone tries. Take others."
        )
    return None


@dataclass(frozen=True, slots=True)
class Subject:
    """Something that a person can be told of by mail."""

    words: str
    """What happens, after "Tell me when"."""
    own: frozenset[Role] = frozenset({Role.CLINICIAN})
    """Whom it concerns at the own clinics, and whom in the whole lab."""
    lab: frozenset[Role] = frozenset()
    usual: bool = False
    """Whether who has chosen nothing is told."""
    hint: str = ""


SUBJECTS: dict[str, Subject] = {
    "ready": Subject("a pair is ready to dispense at my clinic"),
    "question": Subject("a pair stands still and waits for my clinic", usual=True),
    "red_flag": Subject("something is reported that does not wait for the review", usual=True),
    "late": Subject(
        "a pair will be late",
        lab=frozenset({Role.MANAGER}),
        hint="What is late already when you tick this is not mailed; the digest counts it.",
    ),
    "digest": Subject(
        "a working day begins: one mail with what waits",
        lab=frozenset({Role.TECHNICIAN, Role.MANAGER}),
        hint="Nothing waits, no mail.",
    ),
    "report": Subject(
        "a month is over: its report as a PDF",
        own=frozenset(),
        lab=frozenset({Role.MANAGER}),
        usual=True,
        hint="On the first of a month. Figures of the lab; no pair and no wearer stands in it.",
    ),
}
DIGEST_HOURS = range(5, 19)
DIGEST_HOUR = 7
"""Before the first patients of most clinics; everyone chooses the own one."""


def concerns(subject: str, roles: frozenset[Role], clinics: frozenset[int], clinic_id: int | None = None) -> bool:
    """Whether a subject is for somebody with these roles; with `clinic_id`, of a pair of that clinic."""
    row = SUBJECTS[subject]
    if not roles.isdisjoint(row.lab):
        return True
    return not roles.isdisjoint(row.own) and (bool(clinics) if clinic_id is None else clinic_id in clinics)


class NoSignOn(StrEnum):
    """Why a badge and a PIN did not let somebody on, as the journal says it; the person is never told which."""

    UNKNOWN_BADGE = "unknown badge"
    VOID_BADGE = "void badge"
    NO_PIN = "no PIN chosen"
    WRONG_PIN = "wrong PIN"
    NO_TECHNICIAN = "not a technician"


class SignedOffBy(StrEnum):
    """What ended a sign-on."""

    LOCK = "locked"
    IDLE = "left alone"
    NEXT = "someone signed on"
    TABLET_ENDED = "tablet ended"
    BADGE_VOID = "badge void"
    PIN_CHANGED = "PIN changed"
    ACCESS_ENDED = "access ended"
