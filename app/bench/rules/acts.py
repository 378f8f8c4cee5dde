"""Every act on a pair as one row of data: who owns it, when it may be done, what it needs, what it says.

The role that owns an act stands here and nowhere else; app/people/permissions.py lists everything that is no act.
"""

from dataclasses import dataclass, field
from datetime import timedelta
from typing import Literal

from app.bench.rules.stages import STAGES, Place
from app.people.rules import Role

T, C, M = Role.TECHNICIAN, Role.CLINICIAN, Role.MANAGER
Owner = Literal["stage", "waited on", "own last act"] | frozenset[Role]
Need = Literal["reason", "sides", "one side", "to_stage", "waiting_on", "code", "facts"]

LAB_STAGES = frozenset(key for key in STAGES if key not in ("receive", "return", "dispense", "wear_in"))
OPEN = frozenset(STAGES)
NOWHERE: frozenset[str] = frozenset()

WAITING_ON = ("clinic", "lab", "supplier", "wearer", "payer")
ENDS = {
    "settled": "settled",
    "withdrawn": "withdrawn",
    "replaced": "replaced by a remake",
    "closed": "closed without a review",
    "uncollected": "never collected",
}


@dataclass(frozen=True, slots=True)
class Act:
    key: str
    button: str
    done: str
    """How the trail tells it: "<name> <done>"."""
    owner: Owner
    at: frozenset[str] = OPEN
    """Stages at which it may be done to an open pair."""
    after: frozenset[str] = NOWHERE
    """Ends from which it may be done."""
    parked: bool = True
    """Whether it may be done while the pair stands still."""
    needs: tuple[Need, ...] = ()
    reasons: dict[str, str] = field(default_factory=dict)
    """Codes with their words; empty where the reason is typed in words."""
    keeps: tuple[str, ...] = ()
    """Facts it brings along, all ids, codes or numbers; beside them `words` become a note."""


SEND_BACK_REASONS = {
    "cracked": "cracked or broken",
    "wrong_sheet": "wrong sheet or thickness",
    "shape": "shape does not match the positive",
    "too_short": "cover too short",
    "too_wide": "too wide for the shoe",
    "edges": "edges or finish",
    "post": "post height or angle",
    "addition": "addition missing or in the wrong place",
    "wrong_side": "left and right mixed up",
    "prescription": "prescription changed",
    "fit": "does not fit the foot",
    "booked_by_mistake": "booked by mistake",
}
PARK_REASONS = {
    "material": "material is missing",
    "machine": "machine is down",
    "question": "a question is open",
    "shoe": "the shoe is missing",
    "approval": "approval or payment is open",
    "wearer": "the wearer asked to wait",
    "prescription": "the prescription changed",
    "capture": "a new capture is needed",
    "missing": "missing from its parcel",
    "lot_held": "a lot in it is held",
    "other": "another reason, in words",
}
RECAPTURE_REASONS = {"broken": "broken", "unreadable": "unreadable", "wrong_patient": "of the wrong patient"}
REMAKE_REASONS = {
    "fit": "does not fit the foot",
    "broken": "broken",
    "prescription": "prescription was wrong",
    "made_wrong": "made differently from the prescription",
    "foot_changed": "the foot has changed",
    "lost": "lost",
}

ACTS: dict[str, Act] = {
    act.key: act
    for act in (
        Act("order", "Order", "ordered the pair", frozenset({C, T}), at=NOWHERE),
        Act(
            "advance",
            "Done",
            "finished the work",
            "stage",
            at=OPEN - {"dispense", "wear_in"},
            parked=False,
            keeps=("captures", "parcel", "confirmed", "sets_for", "lots"),
        ),
        Act("start", "Start", "began the work", "stage", at=LAB_STAGES, parked=False),
        Act("put_down", "Put down", "put it down again", "stage", at=LAB_STAGES),
        Act(
            "park",
            "Park",
            "parked it",
            "stage",
            needs=("reason", "waiting_on"),
            reasons=PARK_REASONS,
            keeps=("fit",),
        ),
        Act("ask", "Ask", "asked", frozenset({T, C, M}), needs=("reason",), keeps=("before",)),
        Act("answer", "Answer", "answered", "waited on", needs=("reason",), keeps=("holds", "stays")),
        Act("resume", "Go on", "let it go on", frozenset({T, C, M}), keeps=("holds",)),
        Act(
            "send_back",
            "Send back",
            "sent it back",
            "stage",
            at=OPEN - {"check_in", "return", "wear_in"},
            needs=("sides", "to_stage", "reason"),
            reasons=SEND_BACK_REASONS,
            keeps=("fit",),
        ),
        Act(
            "recapture",
            "Ask for a new capture",
            "asked for a new capture",
            frozenset({T, C}),
            at=LAB_STAGES - {"send"},
            needs=("one side", "reason"),
            reasons=RECAPTURE_REASONS,
        ),
        Act(
            "amend",
            "Change the prescription",
            "changed the prescription",
            frozenset({C}),
            at=LAB_STAGES,
            keeps=("prescription",),
        ),
        Act(
            "promise",
            "Change the promised day",
            "changed the promised day",
            frozenset({T, M}),
            needs=("reason",),
            keeps=("day",),
        ),
        Act(
            "dispense",
            "Dispense",
            "dispensed the pair",
            frozenset({C}),
            at=frozenset({"dispense"}),
            parked=False,
            keeps=("confirmed", "fit", "before", "plan", "shoe", "trimmed", "given_back"),
        ),
        Act("tell", "Told the wearer", "told the wearer", frozenset({C}), needs=("facts",), keeps=("how", "who")),
        Act("book", "Book", "booked an appointment", frozenset({C}), needs=("facts",), keeps=("at", "what", "also")),
        Act("no_show", "Did not come", "noted that the wearer did not come", frozenset({C}), at=OPEN, keeps=("what",)),
        Act(
            "adjust",
            "Adjust",
            "decided on an adjustment",
            frozenset({C}),
            at=frozenset({"wear_in"}),
            parked=False,
            needs=("sides", "facts"),
            keeps=("where", "stages", "zones", "review"),
        ),
        Act(
            "keep_wearing",
            "Keep wearing",
            "let the wearer keep wearing",
            frozenset({C}),
            at=frozenset({"wear_in"}),
            parked=False,
            keeps=("review",),
        ),
        Act(
            "settle",
            "Settle",
            "settled the pair",
            frozenset({C}),
            at=frozenset({"wear_in"}),
            parked=False,
            keeps=("review",),
        ),
        Act(
            "note_request",
            "Note a wish",
            "noted a wish for the review",
            frozenset({C}),
            at=frozenset({"wear_in"}),
            needs=("reason",),
            keeps=("red_flags", "painful"),
        ),
        Act(
            "refurbish",
            "Refurbish",
            "asked for a refurbishment",
            frozenset({C}),
            at=frozenset({"wear_in"}),
            after=frozenset({"settled"}),
            parked=False,
        ),
        Act(
            "remake",
            "Remake",
            "asked for a remake",
            frozenset({C}),
            at=frozenset({"dispense", "wear_in"}),
            after=frozenset({"settled"}),
            needs=("sides", "reason", "facts"),
            reasons=REMAKE_REASONS,
            keeps=("start", "bears", "new_pair"),
        ),
        Act("withdraw", "Withdraw", "withdrew the order", frozenset({C, M}), needs=("reason", "code")),
        Act(
            "close",
            "Close without a review",
            "closed it without a review",
            frozenset({C, M}),
            at=frozenset({"wear_in"}),
            needs=("reason",),
        ),
        Act(
            "uncollected",
            "Never collected",
            "noted that it was never collected",
            frozenset({C, M}),
            at=frozenset({"dispense"}),
            needs=("reason",),
        ),
        Act(
            "reopen",
            "Reopen",
            "reopened it",
            frozenset({M}),
            at=NOWHERE,
            after=frozenset({"withdrawn", "closed", "uncollected"}),
            needs=("reason",),
        ),
        Act("take_back", "Take back", "took the last act back", "own last act", after=frozenset({"settled"})),
        Act(
            "transfer",
            "Move to another clinic",
            "moved it to another clinic",
            frozenset({M}),
            after=frozenset(ENDS),
            keeps=("clinic",),
        ),
    )
}
TAKEN_BACK = frozenset({"advance", "send_back", "park", "resume", "dispense"})
"""Acts that the same person may take back within ten minutes, if nothing followed."""
TAKE_BACK_WITHIN = timedelta(minutes=10)

OWN_BY_PLACE: dict[Place, Role] = {"lab": T, "way": C, "clinic": C}


def owners(act: Act, stage: str | None, place: Place, waiting_on: frozenset[str], in_house: bool) -> frozenset[Role]:
    """Roles that may do `act` to a pair that waits for `stage` at `place`; "own last act" is open to every role.

    In the house a clinician who has the cast in hand checks it in as well as a technician does.
    """
    if isinstance(act.owner, frozenset):
        return act.owner
    if act.owner == "own last act":
        return frozenset(Role)
    if act.owner == "waited on":
        asked = {"clinic": {C}, "lab": {T, M}}
        return frozenset(role for party in waiting_on for role in asked.get(party, {T, C, M}))
    if stage == "check_in":
        return frozenset({T, C} if in_house else {T})
    return frozenset({OWN_BY_PLACE[place]})
