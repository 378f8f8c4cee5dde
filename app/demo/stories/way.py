"""What travels: parcels to the clinics and back to the lab, one of them for too long."""

from collections.abc import Generator
from datetime import datetime

from app.bench.actions import parcels
from app.demo.stories.clinic import worn
from app.demo.telling import Teller, Telling, ToldPair, side_by_side


def _two_to_send(t: Teller, clinic: str, ordered: float, ready: float) -> Generator[datetime, None, list[ToldPair]]:
    yield t.worked(ordered)
    pairs = [t.order(clinic), t.order(clinic)]
    yield from side_by_side(pair.walk("send", t.worked(ready + 0.2 * late)) for late, pair in enumerate(pairs))
    return pairs


def parcel_that_nobody_receives(t: Teller) -> Telling:
    pairs = yield from _two_to_send(t, "Gull Lane", 11.2, 4.6)
    yield t.worked(4.2)
    t.send(*pairs)


def parcel_on_its_way(t: Teller) -> Telling:
    pairs = yield from _two_to_send(t, "Upper Quay", 8.7, 1.1)
    yield t.worked(0.6)
    t.send(*pairs)


def damaged_on_the_way(t: Teller) -> Telling:
    """One of two; the other waits beside it to be trimmed at the clinic."""
    pairs = yield from _two_to_send(t, "Gull Lane", 9.4, 1.8)
    yield t.worked(1.4)
    parcel = t.send(*pairs)
    yield t.worked(0.4)
    exceptions = {pairs[1].code: "damaged"}
    parcels.receive(t.db, by=pairs[0].clinician, parcel_id=parcel, exceptions=exceptions)


def _back_for_its_cover(t: Teller, clinic: str, days: float, words: str) -> Generator[datetime, None, ToldPair]:
    """Found at its review to need the lab again, so many working days ago."""
    review = t.worked(days)
    pair = yield from worn(t, clinic, t.days(18, before=review))
    yield review
    told = {"comfort": 4, "pain": 5, "pain_relief": 20, "hours_reached": 6, "skin": "mark_gone"}
    facts = {"where": "lab", "stages": ["cover"], "review": told, "words": words}
    pair.act("adjust", sides="LR", facts=facts)
    return pair


def to_come_back(t: Teller) -> Telling:
    yield from _back_for_its_cover(t, "Gull Lane", 0.3, "The cover creases under the toes.")


def on_the_way_back(t: Teller) -> Telling:
    pair = yield from _back_for_its_cover(t, "Upper Quay", 1.3, "The cover has come off at the heel.")
    yield t.worked(0.7)
    t.send(pair)


def has_come_back(t: Teller) -> Telling:
    pair = yield from _back_for_its_cover(t, "Upper Quay", 2.3, "Softer under the forefoot.")
    yield t.worked(1.5)
    parcel = t.send(pair)
    yield t.worked(0.2)
    parcels.receive(t.db, by=t.technician(), parcel_id=parcel, exceptions={})


ALL = (
    parcel_that_nobody_receives,
    parcel_on_its_way,
    damaged_on_the_way,
    to_come_back,
    on_the_way_back,
    has_come_back,
)
