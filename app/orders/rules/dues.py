"""A payer's approval and the payment: how they stand, without amounts, and whether dispensing waits for them."""

from collections.abc import Collection, Mapping
from datetime import date
from typing import Any

from app.errors import BadInput
from app.people.rules import WAITS_FOR

APPROVALS = {"not_needed": "not needed", "asked": "asked for", "given": "given"}
PAYMENTS = {"none": "nothing yet", "deposit": "a deposit", "paid": "paid", "waived": "waived"}
_OPEN = {"approval": frozenset({"asked"}), "payment": frozenset({"none", "deposit"})}
Dues = dict[str, str]


def read_dues(raw: Mapping[str, Any], today: date) -> Dues:
    """`approval`, with its `number` and the day `on` if it was given, and `payment`; what is not said is left out."""
    wrong: dict[str, str] = {}
    dues = {name: str(value).strip() for name, value in raw.items() if value not in (None, "")}
    for name in set(dues) - {"approval", "number", "on", "payment"}:
        wrong[f"dues.{name}"] = f"'{name}' is nothing that is noted of approval and payment."
    for name, known in (("approval", APPROVALS), ("payment", PAYMENTS)):
        if name in dues and dues[name] not in known:
            wrong[f"dues.{name}"] = f"One of {', '.join(known)}; '{dues[name][:20]}' is none of them."
    if len(dues.get("number", "")) > 60:
        wrong["dues.number"] = "A number of approval has at most 60 characters."
    if dues.get("approval") != "given":
        dues.pop("number", None)
        dues.pop("on", None)
    elif "on" in dues and not _was(dues["on"], today):
        wrong["dues.on"] = f"The day of the approval reads like 2026-11-26 and is not yet to come; '{dues['on'][:20]}'."
    if wrong:
        raise BadInput("Approval and payment need another look.", wrong)
    return dues


def _was(text: str, today: date) -> bool:
    try:
        return date.fromisoformat(text) <= today
    except ValueError:
        return False


def open_dues(dues: Mapping[str, str], waits_for: Collection[str]) -> list[str]:
    """What dispensing waits for, in words; a payment of which nothing is said is open, an approval is not."""
    said = {"approval": dues.get("approval", "not_needed"), "payment": dues.get("payment", "none")}
    return [words for name, words in WAITS_FOR.items() if name in waits_for and said[name] in _OPEN[name]]


def words(dues: Mapping[str, str]) -> list[tuple[str, str]]:
    """For a list of facts: what, and how it stands."""
    approval = APPROVALS.get(dues.get("approval", ""), "not said")
    more = ", ".join(part for part in (dues.get("number", ""), dues.get("on", "")) if part)
    payment = PAYMENTS.get(dues.get("payment", ""), "not said")
    return [("Payer's approval", f"{approval} ({more})" if more else approval), ("Payment", payment)]
