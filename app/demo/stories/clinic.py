"""What goes on at the clinics: wearers who do not know, do not come, ask too early; reviews and rechecks."""

from collections.abc import Generator
from datetime import datetime, timedelta
from typing import Any

from sqlmodel import col, update

from app.bench.queries import find
from app.demo.telling import Teller, Telling, ToldPair
from app.demo.wearers import Wearer
from app.fitting import actions as fitting
from app.fitting.tables import Review

AT_RISK = ("diabetes", "sensation_loss")
TOLD = {"how": "telephone", "who": "wearer"}
BETTER = {"comfort": 7, "pain": 2, "pain_relief": 60, "hours_reached": 8, "skin": "clear"}
WORSE = {"comfort": 4, "pain": 4, "pain_relief": 30, "hours_reached": 6, "skin": "mark_gone"}

FIRST_DAYS = (
    {"minutes": "60", "comfort": "3", "skin": "clear"},
    {"minutes": "120", "comfort": "3", "skin": "mark_gone"},
    {"minutes": "180", "comfort": "1", "skin": "mark_gone"},
    {"minutes": "180", "comfort": "3", "skin": "clear"},
    {"minutes": "180", "comfort": "4"},
)
"""What a wearer notes at home."""


def _ready(t: Teller, clinic: str, since: datetime) -> Generator[datetime, None, ToldPair]:
    """A pair that is at the clinic since then."""
    yield t.worked(9.3, before=since)
    pair = t.order(clinic)
    yield from pair.walk("dispense", since)
    return pair


def worn(
    t: Teller, clinic: str, since: datetime, wearer: Wearer | None = None, brings: tuple[str, ...] = (), **more: Any
) -> Generator[datetime, None, ToldPair]:
    """A pair that was dispensed then."""
    yield t.worked(12.4, before=since)
    pair = t.order(clinic, wearer=wearer, brings=brings, **more)
    yield from pair.walk("dispense", t.worked(2.7, before=since))
    yield t.worked(2.3, before=since)
    pair.act("tell", facts=TOLD)
    yield from pair.walk("wear_in", since)
    return pair


def _lately(t: Teller, days: int) -> datetime:
    """So many days ago; around holidays earlier, so that there is working time since then."""
    return min(t.days(days), t.worked(days * 0.45))


def ready_and_not_told(t: Teller) -> Telling:
    """And not to be dispensed: the payer was asked, and has not answered."""
    pair = yield from _ready(t, "Harbour Steps", t.worked(2.3))
    pair.owes(approval="asked", payment="deposit")


def told_and_nothing_booked(t: Teller) -> Telling:
    pair = yield from _ready(t, "Upper Quay", t.worked(7.2))
    yield t.worked(6.5)
    pair.act("tell", facts={"how": "text", "who": "wearer"})


def never_fetched(t: Teller) -> Telling:
    """Told, booked, did not come; called again lately."""
    ready = t.days(33)
    pair = yield from _ready(t, "Gull Lane", ready)
    yield t.on(ready, 0.8)
    pair.act("tell", facts=TOLD)
    pair.act("book", facts={"at": t.on(ready, 4.6).isoformat(), "what": "fitting"})
    yield t.on(ready, 4.9)
    pair.act("no_show")
    yield t.worked(2.4)
    pair.act("tell", facts={"how": "telephone", "who": "left_word"})


def to_be_fitted_in_the_house(t: Teller) -> Telling:
    pair = yield from _ready(t, "Harbour Steps", t.worked(1.7))
    pair.owes(approval="given", number="SB 4471", on=t.days(9).date().isoformat(), payment="paid")
    yield t.worked(1.2)
    pair.act("tell", facts=TOLD)
    pair.act("book", facts={"at": t.ahead(0).isoformat(), "what": "fitting"})


def to_be_fitted_at_the_quay(t: Teller) -> Telling:
    pair = yield from _ready(t, "Upper Quay", t.worked(2.6))
    yield t.worked(1.9)
    pair.act("tell", facts={"how": "telephone", "who": "family"})
    pair.act("book", facts={"at": t.ahead(2).isoformat(), "what": "fitting"})


def just_trimmed_at_the_clinic(t: Teller) -> Telling:
    yield from _ready(t, "Gull Lane", t.worked(0.3))


def skin_is_broken(t: Teller) -> Telling:
    wearer = t.wearer(child=False, risks=AT_RISK)
    pair = yield from worn(t, "Harbour Steps", _lately(t, 4), wearer)
    yield t.worked(0.3)
    words = "A blister under the right arch after a long walk."
    pair.act("note_request", reason=words, facts={"red_flags": ["skin"]})


def asks_before_the_review(t: Teller) -> Telling:
    pair = yield from worn(t, "Upper Quay", _lately(t, 8))
    yield t.worked(1.8)
    pair.act("note_request", reason="The arch feels too high.")


def review_is_overdue(t: Teller) -> Telling:
    pair = yield from worn(t, "Gull Lane", t.days(23))
    yield t.worked(1.6)
    pair.act("tell", facts={"how": "telephone", "who": "left_word"})


def review_was_never_set(t: Teller) -> Telling:
    """As of a pair that was taken over from papers: no act of this house leaves one without its review."""
    pair = yield from worn(t, "Harbour Steps", _lately(t, 6))
    yield t.worked(1.1)
    pair_id = find(t.db, pair.code, pair.clinician).row["id"]
    t.db.execute(update(Review).where(col(Review.pair_id) == pair_id).values(state="void"))


def diabetes_is_found_later(t: Teller) -> Telling:
    """The second order says what nobody knew at the first dispensing: that pair has no rechecks."""
    wearer = t.wearer(child=False, risks=())
    pair = yield from worn(t, "Harbour Steps", t.days(11), wearer)
    yield t.worked(0.8)
    t.order("Harbour Steps", wearer=Wearer(**vars(wearer) | {"risks": ["diabetes"]}), label=pair.label)


def adjusted_twice(t: Teller) -> Telling:
    second = t.days(4)
    first = t.days(14, before=second)
    pair = yield from worn(t, "Upper Quay", t.days(14, before=first))
    for review in (first, second):
        yield review
        zones = [{"side": "L", "zone": "medial_arch", "what": "lowered"}]
        pair.act("adjust", sides="L", facts={"where": "here", "zones": zones, "review": WORSE})


def child_wears_in(t: Teller) -> Telling:
    yield from worn(t, "Gull Lane", _lately(t, 3), t.wearer(child=True))


def review_is_booked(t: Teller) -> Telling:
    """The wearer has a page of the own, and noted the first days on it: on the third it hurt."""
    since = t.days(12)
    pair = yield from worn(t, "Harbour Steps", since)
    secret = fitting.give_page(t.db, code=pair.code, by=pair.clinician)
    for number, day in enumerate(FIRST_DAYS):
        yield since + timedelta(days=number, hours=7)
        for name, value in day.items():
            fitting.note(t.db, secret=secret, address="", name=name, value=value)
    yield t.worked(1.5)
    pair.act("book", facts={"at": t.ahead(1).isoformat(), "what": "review"})


def two_pairs_at_one_appointment(t: Teller) -> Telling:
    """A wearer's second pair begins while the first is still worn in; both are reviewed when the wearer comes."""
    wearer = t.wearer(child=False, risks=())
    first = yield from worn(t, "Harbour Steps", t.days(9), wearer, shoe={"kind": "walking"})
    second = yield from worn(t, "Harbour Steps", _lately(t, 3), wearer, label=first.label, shoe={"kind": "sports"})
    yield t.worked(0.7)
    facts = {"at": t.ahead(3).isoformat(), "what": "review", "also": [second.code]}
    first.act("book", facts=facts)


def at_risk_and_due(t: Teller) -> Telling:
    """A week of wearing in at high risk is nearly over."""
    yield from worn(t, "Upper Quay", _lately(t, 6), t.wearer(child=False, risks=AT_RISK))


def settled_with_an_old_pair_left(t: Teller) -> Telling:
    settled = t.worked(3.5)
    pair = yield from worn(t, "Upper Quay", t.days(18, before=settled), brings=("old_pair",))
    yield settled
    pair.act("settle", facts={"review": BETTER})


ALL = (
    ready_and_not_told,
    told_and_nothing_booked,
    never_fetched,
    to_be_fitted_in_the_house,
    to_be_fitted_at_the_quay,
    just_trimmed_at_the_clinic,
    skin_is_broken,
    asks_before_the_review,
    review_is_overdue,
    review_was_never_set,
    diabetes_is_found_later,
    adjusted_twice,
    child_wears_in,
    review_is_booked,
    two_pairs_at_one_appointment,
    at_risk_and_due,
    settled_with_an_old_pair_left,
)
