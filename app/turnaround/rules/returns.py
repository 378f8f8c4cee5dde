"""Why pairs come back: what is counted as coming back, by what it is looked at, and what the counts say.

Sent back, adjusted and remade are three things: the first is found before the wearer has the pair, the second at a
review, the third starts a new pair. A share is always of things that could have come back and are known to have or
not: see `BASES`.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import date, datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from app.bench.rules.acts import REMAKE_REASONS, SEND_BACK_REASONS
from app.bench.rules.stages import STAGES
from app.fitting.rules.review import WHAT, ZONES
from app.orders.rules import MATERIALS
from app.turnaround.rules.asked import Asked, day_of, following, month_of

MONTHS = 12
"""Of a chart over time: fewer points say nothing of what is usual, so these are shown whatever the period."""
REMADE_WITHIN = timedelta(days=60)
"""Of dispensing. Only months that are so long over are shown: in others pairs may still be remade."""
BY_MISTAKE = "booked_by_mistake"
ADJUSTED = ("adjust_here", "adjust_lab")
UNSAID, HERE, LAB, NO_STAGE = "unsaid", "here", "lab", "settled"


class Kind(NamedTuple):
    """One way of coming back."""

    title: str
    things: tuple[str, str]
    """One and many."""
    said: str
    """Of a pair, after "was"."""
    meaning: str
    base: str
    """What its share over time is of, after "of"."""
    share_meaning: str


KINDS: dict[str, Kind] = {
    "send_back": Kind(
        "Sent back",
        ("send-back", "send-backs"),
        "sent back",
        "An act by which one or both sides of a pair went back to an earlier stage, on its day. What was booked by "
        "mistake and what was taken back within ten minutes is left out; a pair that was sent back twice counts twice.",
        "pairs dispensed",
        "Of the pairs dispensed in the month, those that had been sent back at least once on this visit, however "
        "often. Pairs that are still on their way are in neither number.",
    ),
    "adjust": Kind(
        "Adjusted",
        ("adjustment", "adjustments"),
        "adjusted",
        "An act by which a clinician adjusted a pair at a review, or sent it to the lab for it, on its day.",
        "reviews held",
        "Of the reviews held in the month, those that ended in an adjustment, at the clinic or at the lab.",
    ),
    "remake": Kind(
        "Remade",
        ("remake", "remakes"),
        "remade",
        "An act by which a pair was to be made again, one or both sides, on its day: at the dispensing, at a review or "
        "after the pair had settled.",
        "pairs dispensed",
        f"Of the pairs dispensed in the month, those that were remade within {REMADE_WITHIN.days} days of it. Only "
        "months that have been over for so long are shown. What was to be remade before it was ever dispensed is not "
        "in this share.",
    ),
}
BY = {
    "reason": ("reason", "Reason"),
    "stage": ("stage", "Stage"),
    "shell": ("shell material", "Shell material"),
    "clinic": ("clinic", "Clinic"),
}
"""By what the counts are looked at: in a sentence, and as a column's head."""
BY_MEANS = {
    ("send_back", "stage"): "The stage at which it was found.",
    ("adjust", "reason"): "The zone and what was done there, as the clinician wrote it down; an adjustment of two "
    "zones counts at both. What the lab adjusts is not asked for by zone.",
    ("adjust", "stage"): "The stages of the lab that it needs, or the clinic; an adjustment that needs two stages "
    "counts at both.",
    ("remake", "stage"): "Where the pair stood when the remake was asked for.",
}


class Count(NamedTuple):
    """So many acts of a kind alike in all that they are looked at by."""

    act: str
    reason: str | None
    stage: str | None
    shell: str | None
    clinic: int
    where: str | None
    """Of an adjustment: here or lab."""
    count: int  # type: ignore[assignment]  # a tuple's own count() is not wanted here


class Sample(NamedTuple):
    """A month's share: `hits` of `size`."""

    month: int
    hits: int
    size: int


class Follow(NamedTuple):
    """What became of reviews that were due before today, and how often wearers did not come."""

    due: int
    kept: int
    overdue: int
    lost: int
    """Closed without a review."""
    gone: int
    """No longer due: withdrawn, refurbished or remade before it."""
    missed: int
    """Appointments of reviews to which the wearer did not come."""


class Returns(NamedTuple):
    """All that is shown of coming back; shares by month are of the last twelve months."""

    asked: Asked
    counts: list[Count]
    """Of the period, dispensings among them."""
    adjusted: Counter[str]
    """Adjustments by zone and what was done, "zone.what"."""
    adjusted_at: Counter[str]
    """Adjustments by where they are made."""
    shares: dict[str, list[Sample]]


def acts(counts: Iterable[Count], act: str) -> int:
    return sum(each.count for each in counts if each.act == act)


def by(found_of: Returns, act: str, name: str) -> Counter[str]:
    """Acts of a kind by reason, stage, shell or clinic."""
    if act == "adjust" and name in ("reason", "stage"):
        return found_of.adjusted if name == "reason" else found_of.adjusted_at
    found: Counter[str] = Counter()
    for each in found_of.counts:
        if each.act == act:
            found[_key(each, name)] += each.count
    return found


def _key(each: Count, name: str) -> str:
    if name == "stage":
        return each.stage or NO_STAGE
    if name == "clinic":
        return str(each.clinic)
    return (each.reason if name == "reason" else each.shell) or UNSAID


def key_words(act: str, name: str, key: str, clinics: Mapping[int, str]) -> str:
    """How a bar is called."""
    if name == "clinic":
        return clinics.get(int(key), "another clinic") if key.isascii() and key.isdecimal() else key
    if name == "shell":
        return MATERIALS.get(key, "not said")
    if name == "stage":
        return {HERE: "at the clinic, by hand", NO_STAGE: "after it had settled"}.get(
            key, STAGES[key].queue if key in STAGES else "not said"
        )
    if act == "adjust":
        return adjusted_words(key)
    return (SEND_BACK_REASONS | REMAKE_REASONS if act == "send_back" else REMAKE_REASONS).get(key, "not said")


def adjusted_words(key: str) -> str:
    zone, _, what = key.partition(".")
    if zone in ZONES and what in WHAT:
        return f"{ZONES[zone]}: {WHAT[what]}"
    return "at the lab" if key == LAB else "not said"


def last_months(today: date, many: int = MONTHS) -> list[int]:
    """The last months with today's, the first of them first."""
    found = [month_of(today)]
    while len(found) < many:
        before = day_of(found[0]) - timedelta(days=1)
        found.insert(0, month_of(before))
    return found


def begins(month: int, zone: str) -> datetime:
    day = day_of(month)
    return datetime(day.year, day.month, 1, tzinfo=ZoneInfo(zone))


def ends(month: int, zone: str) -> datetime:
    """The first instant after the month."""
    return begins(following(month), zone)


def is_known(month: int, zone: str, now: datetime) -> bool:
    """Whether a month's remakes have all had their time."""
    return ends(month, zone) + REMADE_WITHIN <= now


def month_words(month: int) -> str:
    return f"{day_of(month):%b}\u00a0{month // 100}"
