"""Which pairs somebody wants to see behind a bar, a point or a figure of coming back, read from an address."""

from collections.abc import Mapping
from typing import NamedTuple

from app.errors import BadInput
from app.turnaround.rules.asked import FIRST, LAST, Asked
from app.turnaround.rules.returns import BY, KINDS, key_words, month_words

FOLLOWED = {
    "kept": "Reviews that were due and were held",
    "overdue": "Reviews that are overdue",
    "lost": "Closed without a review",
    "missed": "Appointments of reviews to which the wearer did not come",
}


class Behind(NamedTuple):
    what: str
    """A kind of coming back, or what became of a review."""
    by: str = ""
    key: str = ""
    """One bar: its thing and its key."""
    month: int = 0
    """One point over time, as 202603."""


def read_behind(typed: Mapping[str, str]) -> Behind:
    """What was sent back, if nothing is said. BadInput names what can't be."""
    what, name, key, month = (typed.get(each, "").strip() for each in ("what", "by", "key", "month"))
    what = what or "send_back"
    wrong = {}
    if what not in KINDS and what not in FOLLOWED:
        wrong["what"] = f"The pairs behind one of {', '.join((*KINDS, *FOLLOWED))}; {what[:20]!r} is none of them."
    if (name or key) and (name not in BY or what not in KINDS or not key):
        wrong["by"] = f"Looked at by one of {', '.join(BY)}, with its key; {name[:20]!r} is none of them."
    number = month.replace("-", "")
    if month and not (
        len(month) == 7
        and number.isascii()
        and number.isdecimal()
        and FIRST <= int(number) <= LAST
        and 1 <= int(number) % 100 <= 12
    ):
        wrong["month"] = f"A month reads like 2026-03; {month[:20]!r} is not one."
    if wrong:
        raise BadInput(" ".join(wrong.values()), wrong)
    return Behind(what, name, key, int(number) if month else 0)


def behind_words(behind: Behind, asked: Asked, clinics: Mapping[int, str]) -> tuple[str, str]:
    """The heading of the list, and the sentence below it."""
    where = f" at {clinics[asked.clinic]}" if asked.clinic and asked.clinic in clinics else ""
    if behind.what in FOLLOWED:
        return FOLLOWED[behind.what], f"Due in {asked.words()}{where}, before today."
    kind = KINDS[behind.what]
    if behind.month:
        return f"{kind.title}, {month_words(behind.month)}", kind.share_meaning
    words = key_words(behind.what, behind.by, behind.key, clinics) if behind.by else ""
    title = f"{kind.title}: {words}" if words else kind.title
    return title, f"In {asked.words()}{where}. {kind.meaning}"
