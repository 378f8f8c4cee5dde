"""What can go wrong between the order and the clinic: arrivals, captures, parcels, standing still, promised days."""

from datetime import timedelta

from app.bench.rules.acts import ENDS
from app.bench.rules.machine import SIDE_WORDS
from app.watch.rules.facts import Arrival, Left, Missing, Parked, Promise, Repeated, Sent, Still
from app.watch.rules.kinds import Flag
from app.watch.rules.limits import Moment, many


def arrival_unmatched(arrival: Arrival, at: Moment) -> Flag | None:
    if not at.reached(arrival.at, "unmatched_hours"):
        return None
    return Flag(
        "arrival_unmatched",
        "",
        f"{arrival.what} belongs to nobody yet.",
        f"It came on {at.day_words(at.day_of(arrival.at))} and has waited {at.worked(arrival.at)} for its order.",
        arrival.at,
        "Match it to its order on the arrivals page, or ask the clinic whose it is.",
        at.limit_words("unmatched_hours"),
        arrival=arrival.id,
    )


def capture_missing(missing: Missing, at: Moment) -> Flag | None:
    if not at.reached(missing.expected_at, "capture_days"):
        return None
    return Flag(
        "capture_missing",
        missing.pair,
        f"The capture of the {SIDE_WORDS[missing.sides]} has not come.",
        f"It has been expected for {at.worked(missing.expected_at)}; nothing can be made without it.",
        missing.expected_at,
        "Ask the clinic whether it was sent; look among the arrivals that belong to nobody.",
        at.limit_words("capture_days"),
    )


def sent_not_received(sent: Sent, at: Moment) -> Flag | None:
    if not at.reached(sent.sent_at, "transit_days", beyond=sent.usual_days):
        return None
    there = "the clinic" if sent.to_clinic else "the lab"
    return Flag(
        "sent_not_received",
        sent.pair,
        f"Sent to {there}, and nobody has received it.",
        f"It has been on its way since {at.day_words(at.day_of(sent.sent_at))}; "
        f"{many(sent.usual_days, 'working day')} is usual.",
        sent.sent_at,
        f"Ask at {there}, then the carrier{f' ({sent.parcel})' if sent.parcel else ''}. Receive it if it is there.",
        at.limit_words("transit_days"),
    )


def prescription_changed(parked: Parked, at: Moment) -> Flag | None:
    changes = [each for each in parked.reasons if each.kind == "prescription"]
    if not changes or not at.reached(changes[0].since, "prescription_change_hours"):
        return None
    return Flag(
        "prescription_changed",
        parked.pair,
        "The prescription changed while the pair was on the bench.",
        "It stands still until the lab has chosen; the old job ticket no longer holds.",
        changes[0].since,
        "Choose: it applies from here, the pair goes back to a stage, or it is too late and the clinic is asked.",
        at.limit_words("prescription_change_hours"),
    )


def parked_long(parked: Parked, at: Moment) -> Flag | None:
    """Each party has a limit of its own; of several reasons the one that has stood longest is named."""
    long = [
        each
        for each in parked.reasons
        if each.kind != "prescription" and at.reached(each.since, f"parked_{each.waiting_on}_days")
    ]
    if not long:
        return None
    first = min(long, key=lambda each: each.since)
    return Flag(
        "parked_long",
        parked.pair,
        f"Parked, waiting on the {first.waiting_on}.",
        f"It has stood still for {at.worked(first.since)}.",
        first.since,
        PARKED_DO[first.waiting_on],
        at.limit_words(f"parked_{first.waiting_on}_days"),
    )


PARKED_DO = {
    "clinic": "Answer the lab's question, or call the clinic for the answer.",
    "lab": "Answer what the clinic asked, or let the pair go on.",
    "supplier": "Ask the supplier for the day; tell the clinic if the promised day can't be kept.",
    "wearer": "Let the clinic ask the wearer; withdraw the pair if it is no longer wanted.",
    "payer": "Ask the payer; let the clinic decide whether to go on without.",
}


def no_move(still: Still, at: Moment) -> Flag | None:
    if not at.reached(still.last_at, "no_move_days"):
        return None
    return Flag(
        "no_move",
        still.pair,
        f"Nothing has happened: {still.queue}.",
        f"The last act on it was {at.worked(still.last_at)} ago and nothing is noted that stops it.",
        still.last_at,
        "Find the tray: do the work, or park the pair with its reason.",
        at.limit_words("no_move_days"),
    )


def promise_passed(promise: Promise, at: Moment) -> Flag | None:
    if not at.day_reached(promise.promised_on, "promise_over_days"):
        return None
    return Flag(
        "promise_passed",
        promise.pair,
        "The promised day has passed and the pair is not at the clinic.",
        f"It was promised for {at.day_words(promise.promised_on)}.",
        at.start_of(promise.promised_on + timedelta(days=1)),
        "Tell the clinic, promise another day with its reason, and bring the pair on first.",
        at.limit_words("promise_over_days"),
    )


def promise_at_risk(promise: Promise, at: Moment) -> Flag | None:
    """The usual time of what is left exceeds the working time up to the end of the promised day."""
    if not promise.usual_minutes or at.today > promise.promised_on:
        return None
    there_by = at.start_of(promise.promised_on + timedelta(days=1)) - timedelta(minutes=promise.transit_minutes)
    left = at.calendar.minutes_between(at.now, there_by) - 60 * at.limit("risk_margin_hours")
    if promise.usual_minutes <= left:
        return None
    return Flag(
        "promise_at_risk",
        promise.pair,
        f"Promised for {at.day_words(promise.promised_on)}; it will be late at the usual pace.",
        f"Its remaining stages usually take {at.work_words(promise.usual_minutes)} (the sum of their medians); "
        f"{at.work_words(max(left, 0))} are left.",
        promise.since,
        "Take it first at each bench, or promise another day with its reason.",
        at.limit_words("risk_margin_hours"),
    )


def sent_back_often(repeated: Repeated, at: Moment) -> Flag | None:
    if repeated.sent_back_at is None or repeated.sent_back < at.limit("sent_back_times"):
        return None
    return Flag(
        "sent_back_often",
        repeated.pair,
        f"Sent back {many(repeated.sent_back, 'time')} in this visit.",
        "Work that comes back again and again has a cause further up: positive, prescription or sheet.",
        repeated.sent_back_at,
        "Look at the pair together before the next step; ask the clinic if the prescription is in doubt.",
        at.limit_words("sent_back_times"),
    )


def belongings_open(left: Left, at: Moment) -> Flag | None:
    """What was missing from a parcel is looked for at once, whatever stage its pair is at."""
    if not left.things or (left.end and not at.reached(left.since, "belongings_days")):
        return None
    how = f"The pair is {ENDS.get(left.end, left.end)}" if left.end else "It was missing from its parcel"
    return Flag(
        "belongings_open",
        left.pair,
        f"Not accounted for: {', '.join(left.things)}.",
        f"{how} since {at.day_words(at.day_of(left.since))}.",
        left.since,
        "Find what came with the pair and note what became of it: back to the wearer, kept or thrown away.",
        at.limit_words("belongings_days"),
    )
