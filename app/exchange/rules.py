"""What stands in a mail: our own words, a pair's code and a link; nothing of the wearer, nothing of what was found."""

from collections.abc import Collection, Mapping
from typing import NamedTuple

FLAGS: Mapping[str, Collection[str]] = {"red_flag": ("red_flag",), "late": ("promise_passed", "promise_at_risk")}
"""Subjects that come from what the rules of watch notice, and the kinds of flags that mean them."""
DIGEST = {
    "arrivals": ("to receive", "/queue/receive"),
    "ready": ("ready to dispense", "/queue/dispense"),
    "questions": ("standing still until the clinic answers", "/queue"),
    "overdue": ("with a review that is overdue", "/reviews"),
    "due": ("with a review due in the next seven days", "/reviews"),
    "late": ("late, or about to be", "/flags"),
}
"""What the digest counts, each with its words after "pair" and where it leads."""


class Attached(NamedTuple):
    name: str
    content: bytes
    """A PDF."""


class Words(NamedTuple):
    title: str
    body: str
    attached: Attached | None = None


# Title, then the sentence. Why a pair stands still or what was reported is read on its page, after signing in.
_OF_A_PAIR = {
    "ready": ("Ready to dispense", "The pair {code} is ready to be dispensed at {clinic}."),
    "question": ("Waits for you", "The pair {code} stands still and waits for {clinic}."),
    "late": ("Will be late", "The pair {code} for {clinic} will not be there on the day that was promised."),
    "red_flag": ("Look at this now", "Something was noted on the pair {code} of {clinic} that does not wait."),
}


def of_pair(subject: str, code: str, clinic: str, site: str) -> Words:
    title, sentence = _OF_A_PAIR[subject]
    body = f"{sentence.format(code=code, clinic=clinic)}\n\n{site}/pair/{code}"
    return Words(f"{title}: {code}", _signed(body, site))


def digest(counts: Mapping[str, int], day: str, site: str) -> Words | None:
    """What waits, a line and a link each; None when there is nothing to tell."""
    lines = []
    for key, (words, path) in DIGEST.items():
        if many := counts.get(key, 0):
            lines.append(f"{many} {'pair' if many == 1 else 'pairs'} {words}\n{site}{path}")
    if not lines:
        return None
    return Words(f"What waits on {day}", _signed("\n\n".join(lines), site))


def report(month: str, words: str, pdf: bytes | None, site: str) -> Words:
    """A month's report, `month` as 2026-03; where no PDF can be made, what leads to it."""
    where = f"{site}/paper/report/{month}.pdf" if pdf else f"{site}/paper/report/{month}"
    here = "is attached" if pdf else "can be printed from your browser"
    body = f"The report of {words} {here}: where time went, why pairs came back, what became of reviews.\n\n{where}"
    return Words(f"Report of {words}", _signed(body, site), Attached(f"report-{month}.pdf", pdf) if pdf else None)


def _signed(body: str, site: str) -> str:
    return f"{body}\n\n--\nPairtrail sends this because you want to be told. To change that:\n{site}/me/told\n"
