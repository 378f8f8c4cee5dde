"""What the rules are asked about: small values, one for each thing that can be wrong with a pair, an arrival or
what is in stock.

`pair` is always the code. Instants are aware; days are days in the lab's zone; minutes are working minutes unless
they are named otherwise.
"""

from dataclasses import dataclass
from datetime import date, datetime


@dataclass(frozen=True, slots=True)
class Arrival:
    """Something in the lab that belongs to nobody yet."""

    id: int
    at: datetime
    what: str


@dataclass(frozen=True, slots=True)
class Missing:
    """Captures that an order at check-in still waits for; the time of the one that was expected first."""

    pair: str
    sides: str
    expected_at: datetime


@dataclass(frozen=True, slots=True)
class Sent:
    """A pair in a parcel that nobody has received; `usual_days` are the clinic's working days on the way."""

    pair: str
    sent_at: datetime
    usual_days: int
    to_clinic: bool
    parcel: str = ""
    """Carrier and tracking number, as far as they are known."""


@dataclass(frozen=True, slots=True)
class Standing:
    """One reason for which a pair stands still."""

    kind: str
    waiting_on: str
    since: datetime


@dataclass(frozen=True, slots=True)
class Parked:
    pair: str
    reasons: tuple[Standing, ...]


@dataclass(frozen=True, slots=True)
class Still:
    """A pair whose next work could be done now: it is not parked, on its way, setting or waiting for a capture."""

    pair: str
    queue: str
    """Its stage's title."""
    last_at: datetime


@dataclass(frozen=True, slots=True)
class Promise:
    """A pair that has still to reach the clinic, by when, and what it usually takes from here."""

    pair: str
    promised_on: date
    since: datetime
    """When it came to its stage."""
    usual_minutes: int
    """Median working minutes of what is left on the benches, less what the present stage has had; 0 if unknown."""
    transit_minutes: int = 0
    """The same by the clock, of the way to the clinic."""
    appointment: datetime | None = None
    booked_at: datetime | None = None
    """When appointment or promise were last changed."""


@dataclass(frozen=True, slots=True)
class Ready:
    """A pair that can be dispensed."""

    pair: str
    since: datetime
    told_at: datetime | None = None
    appointment: datetime | None = None


@dataclass(frozen=True, slots=True)
class Wearing:
    """A pair that is being worn in, with its next review. `recheck` says why its wearer needs rechecks, if so."""

    pair: str
    since: datetime
    review_on: date | None = None
    appointment: datetime | None = None
    recheck: str = ""
    recheck_set: bool = False


@dataclass(frozen=True, slots=True)
class Recheck:
    pair: str
    due_on: date
    why: str


@dataclass(frozen=True, slots=True)
class Wish:
    """An adjustment asked for and not answered yet. `worn_since` is when the pair was dispensed."""

    pair: str
    noted_at: datetime
    worn_since: datetime
    review_on: date | None = None
    red_flags: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Repeated:
    """How often a pair was sent back in this visit, and adjusted in all; each with the last time."""

    pair: str
    sent_back: int = 0
    sent_back_at: datetime | None = None
    adjusted: int = 0
    adjusted_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Little:
    """A material of which less can be used than its limit; `lot` is the last that came of it."""

    lot: int
    material: str
    there: str
    """The amounts in words."""
    wanted: str
    since: datetime


@dataclass(frozen=True, slots=True)
class Expired:
    """A lot of which something is left after its last day."""

    lot: int
    number: str
    material: str
    there: str
    expires_on: date


@dataclass(frozen=True, slots=True)
class Left:
    """A pair and what came with it and is not accounted for: since its end, or without one missing from a parcel."""

    pair: str
    end: str | None
    since: datetime
    things: tuple[str, ...]
