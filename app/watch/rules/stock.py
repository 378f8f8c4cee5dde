"""What can be wrong with what the lab has in stock: little is left of a material, or what is left has expired."""

from datetime import timedelta

from app.watch.rules.facts import Expired, Little
from app.watch.rules.kinds import Flag
from app.watch.rules.limits import Moment


def low_stock(little: Little, at: Moment) -> Flag | None:
    if not at.reached(little.since, "low_stock_hours"):
        return None
    return Flag(
        "low_stock",
        "",
        f"Little is left of {little.material}.",
        f"To work with there is {little.there}; the lab wants to be told below {little.wanted}.",
        little.since,
        "Order more, and add the lot when it comes; or correct the stock if it was miscounted.",
        at.limit_words("low_stock_hours"),
        lot=little.lot,
    )


def lot_expired(expired: Expired, at: Moment) -> Flag | None:
    first = expired.expires_on + timedelta(days=1)
    if not at.day_reached(first, "expired_days"):
        return None
    return Flag(
        "lot_expired",
        "",
        f"Lot {expired.number} of {expired.material} has expired.",
        f"Its last day was {at.day_words(expired.expires_on)}; still in stock: {expired.there}.",
        at.start_of(first),
        "Take it from the shelf, throw it away, and correct the stock to nothing.",
        at.limit_words("expired_days"),
        lot=expired.lot,
    )
