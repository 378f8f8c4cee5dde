"""What can go wrong between the clinic and the wearer: telling, fitting, reviews, rechecks, wishes, adjustments."""

from datetime import timedelta

from app.watch.rules.facts import Promise, Ready, Recheck, Repeated, Wearing, Wish
from app.watch.rules.kinds import Flag
from app.watch.rules.limits import Moment, many


def appointment_early(promise: Promise, at: Moment) -> Flag | None:
    if promise.appointment is None or promise.appointment < at.now:
        return None
    day = at.day_of(promise.appointment)
    if (day - promise.promised_on).days >= at.limit("appointment_margin_days"):
        return None
    return Flag(
        "appointment_early",
        promise.pair,
        f"The fitting is on {at.day_words(day)}, before the pair is promised.",
        f"It is promised for {at.day_words(promise.promised_on)}; the wearer might come for nothing.",
        promise.booked_at or promise.since,
        "Move the appointment, or ask the lab for an earlier day.",
        at.limit_words("appointment_margin_days"),
    )


def ready_not_told(ready: Ready, at: Moment) -> Flag | None:
    """Who has an appointment knows."""
    if ready.told_at or ready.appointment or not at.reached(ready.since, "ready_days"):
        return None
    return Flag(
        "ready_not_told",
        ready.pair,
        "Ready at the clinic, and the wearer does not know.",
        f"It has been there since {at.day_words(at.day_of(ready.since))}; nobody noted telling the wearer.",
        ready.since,
        "Tell the wearer and book the fitting.",
        at.limit_words("ready_days"),
    )


def told_no_appointment(ready: Ready, at: Moment) -> Flag | None:
    """An appointment that is over without a dispensing is none; the time counts from the later of the two."""
    known = [each for each in (ready.told_at, ready.appointment) if each]
    if not known or (ready.appointment and ready.appointment > at.now):
        return None
    if not at.reached(since := max(known), "told_days"):
        return None
    how = "An appointment went by" if since == ready.appointment else "The wearer was told"
    return Flag(
        "told_no_appointment",
        ready.pair,
        "The wearer knows and has no appointment.",
        f"{how} on {at.day_words(at.day_of(since))}; no other is booked.",
        since,
        "Call again and book the fitting.",
        at.limit_words("told_days"),
    )


def not_collected(ready: Ready, at: Moment) -> Flag | None:
    """A fitting that is still to come is waited for."""
    if (ready.appointment and ready.appointment > at.now) or not at.reached(ready.since, "uncollected_days"):
        return None
    told = f"told on {at.day_words(at.day_of(ready.told_at))}" if ready.told_at else "never told"
    return Flag(
        "not_collected",
        ready.pair,
        f"Ready for {many((at.now - ready.since).days, 'day')} and not collected.",
        f"The wearer was {told}.",
        ready.since,
        "Reach the wearer by another way; in the end note the pair as never collected.",
        at.limit_words("uncollected_days"),
    )


def review_overdue(wearing: Wearing, at: Moment) -> Flag | None:
    """An appointment that is booked for later than the day counts as the day."""
    if wearing.review_on is None:
        return None
    booked = at.day_of(wearing.appointment) if wearing.appointment else wearing.review_on
    day = max(wearing.review_on, booked)
    if not at.day_reached(day, "review_over_days"):
        return None
    return Flag(
        "review_overdue",
        wearing.pair,
        "The review is overdue.",
        f"It was due on {at.day_words(day)}, {many((at.today - day).days, 'day')} ago.",
        at.start_of(day),
        "Hold the review, or book it; after recorded attempts the pair can be closed without one.",
        at.limit_words("review_over_days"),
    )


def review_not_set(wearing: Wearing, at: Moment) -> Flag | None:
    if wearing.review_on is not None or not at.reached(wearing.since, "review_unset_days"):
        return None
    return Flag(
        "review_not_set",
        wearing.pair,
        "The pair is being worn in and no review is set.",
        f"It was dispensed on {at.day_words(at.day_of(wearing.since))}.",
        wearing.since,
        "Set the review: adjustments are decided there.",
        at.limit_words("review_unset_days"),
    )


def recheck_overdue(recheck: Recheck, at: Moment) -> Flag | None:
    if not at.day_reached(recheck.due_on, "recheck_over_days"):
        return None
    return Flag(
        "recheck_overdue",
        recheck.pair,
        "A recheck of the wearer is overdue.",
        f"It was due on {at.day_words(recheck.due_on)}, because the wearer is {recheck.why}.",
        at.start_of(recheck.due_on),
        "See the wearer: skin, foot and shoe, and whether the pair still fits.",
        at.limit_words("recheck_over_days"),
    )


def recheck_not_set(wearing: Wearing, at: Moment) -> Flag | None:
    if not wearing.recheck or wearing.recheck_set or not at.reached(wearing.since, "recheck_unset_days"):
        return None
    return Flag(
        "recheck_not_set",
        wearing.pair,
        "The wearer needs rechecks and has none set.",
        f"The wearer is {wearing.recheck}; the pair was dispensed on {at.day_words(at.day_of(wearing.since))}.",
        wearing.since,
        "Set a recheck.",
        at.limit_words("recheck_unset_days"),
    )


def red_flag(wish: Wish, at: Moment) -> Flag | None:
    if not wish.red_flags or not at.reached(wish.noted_at, "red_flag_hours"):
        return None
    return Flag(
        "red_flag",
        wish.pair,
        f"Reported: {', '.join(wish.red_flags)}.",
        "A red flag does not wait for the review.",
        wish.noted_at,
        "See the wearer now; the pair is not worn until a clinician has decided.",
        at.limit_words("red_flag_hours"),
    )


def adjustment_early(wish: Wish, at: Moment) -> Flag | None:
    """Early is before the review; where none is set, within the usual days of wearing in."""
    if wish.red_flags:
        return None
    until = at.start_of(wish.review_on) if wish.review_on else wish.worn_since + timedelta(days=at.limit("early_days"))
    if wish.noted_at >= until:
        return None
    return Flag(
        "adjustment_early",
        wish.pair,
        "An adjustment was asked for before the review.",
        f"It was asked for on {at.day_words(at.day_of(wish.noted_at))}; "
        f"wearing in lasts until {at.day_words(at.day_of(until))}.",
        wish.noted_at,
        "Let the wish wait for the review, with the wearing-in plan; override with a reason if it can't.",
        at.limit_words("early_days"),
    )


def second_adjustment(repeated: Repeated, at: Moment) -> Flag | None:
    if repeated.adjusted_at is None or repeated.adjusted < at.limit("adjusted_times"):
        return None
    return Flag(
        "second_adjustment",
        repeated.pair,
        f"Adjusted {many(repeated.adjusted, 'time')}.",
        "When the second adjustment does not help, the shape itself is often not right.",
        repeated.adjusted_at,
        "Think of a remake: look at capture and prescription again.",
        at.limit_words("adjusted_times"),
    )
