"""The checks of a prescription before it is written down: what they found, and what a person said to each.

What is checked, and by which source, is app/trade/prescription.py; here it meets a wearer's record and the answers.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Protocol

from app.errors import BadInput
from app.orders.rules import Body, Feet, is_child
from app.trade.prescription import Finding, Known, check

ASK = "Some of this needs another look before it is made; nothing was lost."


class Wearer(Protocol):
    """What the checks need of a wearer's record."""

    born_on: date | None
    born_year: int | None
    mass_kg: float | None
    posture_left: int | None
    posture_right: int | None
    risks: list[str]


@dataclass(frozen=True, slots=True)
class Answers:
    """`seen` holds the keys of cautions that were acknowledged, `signed` the reason for each stop.

    `feet` are the scans' measures in tenths of a millimetre and `captured_on` their days, by side; `units` are the
    clinic's. `only` names the one check that is asked, where everything else was answered before.
    """

    seen: frozenset[str] = frozenset()
    signed: Mapping[str, str] = field(default_factory=dict)
    feet: Feet = field(default_factory=dict)
    captured_on: Mapping[str, date] = field(default_factory=dict)
    units: str = "metric"
    only: str = ""

    def to(self, finding: Finding) -> str | None:
        """What was said to it: the reason of a stop, "" for a caution that was seen, None for nothing."""
        if finding.level == "stop":
            return self.signed.get(finding.key, "").strip()[:2000] or None
        return "" if finding.key in self.seen else None


class Unanswered(BadInput):
    """`findings` is everything that was found, answered or not; each unanswered one stands at its field, too."""

    def __init__(self, findings: Sequence[Finding], answers: Answers) -> None:
        fields: dict[str, str] = {}
        for each in findings:
            if answers.to(each) is None:
                fields[each.at] = f"{fields[each.at]} {each.sentence}" if each.at in fields else each.sentence
        self.findings = findings
        super().__init__(ASK, fields, findings=[told(each) for each in findings])


def told(finding: Finding) -> dict[str, str]:
    """For programs, and as it is kept with the prescription."""
    names = ("key", "at", "level", "sentence", "source", "trust")
    return {name: getattr(finding, name) for name in names}


@dataclass(frozen=True, slots=True)
class Asked:
    """What is looked at beside the wearer's record. `ulcer`: the words that an active one asks for are there."""

    body: Body
    shoe: Mapping[str, Any]
    feet: Feet
    """As they were measured; a scan knows better."""
    ulcer: bool
    today: date
    allowance: int


def findings(asked: Asked, wearer: Wearer, answers: Answers) -> list[Finding]:
    feet = {side: asked.feet.get(side, {}) | answers.feet.get(side, {}) for side in asked.body}
    postures = {"L": wearer.posture_left, "R": wearer.posture_right}
    known = Known(
        body=asked.body,
        today=asked.today,
        risks=frozenset(wearer.risks) - ({"active_ulcer"} if asked.ulcer else frozenset()),
        mass_kg=wearer.mass_kg,
        child=is_child(wearer.born_on, wearer.born_year, asked.today),
        posture={side: value for side, value in postures.items() if value is not None},
        foot_length={side: foot["length"] for side, foot in feet.items() if "length" in foot},
        foot_breadth={side: foot["breadth"] for side, foot in feet.items() if "breadth" in foot},
        captured_on=answers.captured_on,
        shoe=asked.shoe,
        allowance=asked.allowance,
        units=answers.units,
    )
    return [finding for finding in check(known) if finding.key.startswith(answers.only)]
