"""Who a person is to the rest of the house: roles, the small value that every page and act is given, secrets' form."""

import hashlib
import secrets
from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum


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
