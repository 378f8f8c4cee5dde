"""Which kinds of flags there are, the most urgent first, and whom each is for."""

from dataclasses import dataclass
from datetime import datetime

from app.people.rules import Role

T, C, M = Role.TECHNICIAN, Role.CLINICIAN, Role.MANAGER
ALL = frozenset({T, C, M})
CLINIC = frozenset({C, M})
LAB = frozenset({T, M})


@dataclass(frozen=True, slots=True)
class Flag:
    """Something a rule noticed. `since` is when it began; a flag of another `since` is another flag."""

    kind: str
    pair: str
    """The pair's code; empty for an arrival that belongs to nobody yet, and for a lot."""
    what: str
    why: str
    since: datetime
    do: str
    limit: str
    arrival: int | None = None
    lot: int | None = None


@dataclass(frozen=True, slots=True)
class Kind:
    title: str
    mark: str = "wait"
    """Its shape on pages: stop must not go on, wait needs a look, tell is worth knowing."""
    roles: frozenset[Role] = ALL
    """Whom it is for; what is told of a wearer is not for the bench."""


KINDS: dict[str, Kind] = {
    "red_flag": Kind("Red flag reported", "stop", CLINIC),
    "prescription_changed": Kind("Prescription changed on the bench", "stop"),
    "promise_passed": Kind("Promised day passed", "stop"),
    "sent_not_received": Kind("Sent but not received", "stop"),
    "arrival_unmatched": Kind("Arrived but unmatched", "wait"),
    "appointment_early": Kind("Appointment before the promised day", "wait"),
    "promise_at_risk": Kind("Promised day at risk", "wait"),
    "capture_missing": Kind("Capture not received", "wait"),
    "parked_long": Kind("Parked too long", "wait"),
    "no_move": Kind("No move for too long", "wait"),
    "ready_not_told": Kind("Ready, not told", "wait", CLINIC),
    "told_no_appointment": Kind("Told, no appointment", "wait", CLINIC),
    "not_collected": Kind("Not collected", "wait", CLINIC),
    "review_overdue": Kind("Review overdue", "wait", CLINIC),
    "review_not_set": Kind("Review not set", "wait", CLINIC),
    "recheck_overdue": Kind("Recheck overdue", "wait", CLINIC),
    "recheck_not_set": Kind("Recheck not set", "tell", CLINIC),
    "adjustment_early": Kind("Adjustment asked for too early", "tell", CLINIC),
    "second_adjustment": Kind("Second adjustment: think of a remake", "tell"),
    "sent_back_often": Kind("Sent back repeatedly", "tell", LAB),
    "belongings_open": Kind("Belongings unaccounted for", "tell"),
    "lot_expired": Kind("Expired and still in stock", "wait", LAB),
    "low_stock": Kind("Little in stock", "tell", LAB),
}
