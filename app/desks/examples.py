"""What a program may send, ready to be sent: one example at least for every body and every act of the API.

They are part of the OpenAPI file and of its page; a test sends each of them. `CODE` stands where a pair's code goes.
"""

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

from app import clock
from app.bench.rules.acts import ACTS, Act
from app.bench.rules.stages import STAGES
from app.fitting.rules.fit import TICKS
from app.orders.rules import ITEMS, SHOE_KINDS, Item
from app.trade.sizes import SYSTEMS
from app.trade.stance import ITEMS as ITEMS_OF_POSTURE


def _values(item: Item) -> str:
    if item.choices:
        return ", ".join(item.choices)
    return f"{item.low} to {item.high}" if item.high else "degrees"


CODE = "26-00417-D"
LOT = 4117
"""Stands where a lot's number goes, from `GET /api/v1/lots`."""
PRESCRIPTION = (
    "Side to item to value; lengths in tenths of a millimetre, posts in degrees as 4/4, additions as a list. "
    + "; ".join(f"{item.key}: {_values(item)}" for item in ITEMS.values())
    + "."
)
SHOE = (
    f"kind ({', '.join(SHOE_KINDS)}); size with its system ({', '.join(SYSTEMS)}); liner (in, out); "
    "inside_width in tenths of a millimetre."
)
Examples = Mapping[str, tuple[str, dict[str, Any]]]
"""Name to what it does and the body."""


def named(examples: Examples) -> dict[str, Any]:
    """What a route takes as `openapi_extra`."""
    shown = {name: {"summary": words, "value": body} for name, (words, body) in examples.items()}
    for name, example in shown.items():
        act = ACTS.get(str(examples[name][1].get("act")))
        if act is not None:
            example["summary"] = f"{act.key}: {example['summary']}"
            example["description"] = _words(act)
    return {"requestBody": {"content": {"application/json": {"examples": shown}}}}


def files(fields: Mapping[str, tuple[str, str]], shown: Examples) -> dict[str, Any]:
    """The same for a form with files. A field is a `file`, several `files`, or `json`, with its words.

    In an example a file stands by its name.
    """
    kinds: Mapping[str, dict[str, Any]] = {
        "file": _FILE,
        "files": {"type": "array", "items": _FILE, "minItems": 1},
        "json": {"type": "string", "contentMediaType": "application/json"},
    }
    schema = {
        "type": "object",
        "required": list(fields),
        "properties": {name: kinds[kind] | {"description": words} for name, (kind, words) in fields.items()},
    }
    extra = named(shown)["requestBody"]["content"]["application/json"]
    return {"requestBody": {"required": True, "content": {"multipart/form-data": {"schema": schema} | extra}}}


_FILE = {"type": "string", "format": "binary"}


def _words(act: Act) -> str:
    """What the act takes, from its row in the table of acts."""
    says = []
    if act.at and act.at != frozenset(STAGES):
        says.append(f"At {', '.join(stage for stage in STAGES if stage in act.at)}.")
    if act.after:
        says.append(f"After {', '.join(sorted(act.after))}.")
    if act.needs:
        says.append(f"Needs {', '.join('facts.code' if need == 'code' else need for need in act.needs)}.")
    if act.reasons:
        says.append(f"Reasons: {', '.join(act.reasons)}.")
    if act.keeps:
        says.append(f"Facts: {', '.join(act.keeps)}.")
    return " ".join(says)


def _soon(days: int) -> str:
    """An example's day lies ahead of whoever reads it, as long as the server is started now and then."""
    return (clock.today("UTC") + timedelta(days=days)).isoformat()


_SHELL = {"shell": "polypropylene", "shell_thickness": 40}
_SIDE = _SHELL | {"cover": "eva", "cover_thickness": 30, "cover_length": "toes"}
ORDERS: Examples = {
    "a_pair": (
        "A pair, cast in plaster",
        {
            "clinic_id": 1,
            "label": "MR 2210",
            "way": "cast",
            "sides": "LR",
            "captures": {"L": "slipper_plaster", "R": "slipper_plaster"},
            "prescription": {"L": _SIDE | {"rearfoot_post": "4/4"}, "R": _SIDE},
            "wanted_on": _soon(90),
        },
    ),
    "one_foot": (
        "The left foot alone, from a scan, with its wearer, shoe and a rush",
        {
            "clinic_id": 1,
            "label": "MR 2211",
            "way": "direct",
            "sides": "L",
            "captures": {"L": "scan"},
            "prescription": {"L": _SHELL | {"additions": ["met_pad"]}},
            "stage_notes": {"cover": "Soft edge, please."},
            "rush": "Travels in two weeks.",
            "wearer": {"name": "Orla Sedge", "born_on": "1958-04-30", "mass_kg": 71.5, "risks": ["diabetes"]},
            "shoe": {"kind": "walking", "size": 42, "system": "eu", "liner": "out"},
        },
    ),
}
PRESCRIPTIONS: Examples = {
    "both": (
        "A thicker shell on both sides",
        {
            "prescription": {"L": _SIDE | {"shell_thickness": 45}, "R": _SIDE | {"shell_thickness": 45}},
            "words": "Heavier than noted.",
        },
    )
}
DRAFTS: Examples = {
    "begun": (
        "An order begun: the left side is said, the rest is still to be",
        {
            "draft": "begun-at-the-harbour",
            "clinic_id": 1,
            "fields": {
                "label": "MR 2212",
                "way": "cast",
                "sides": "LR",
                "capture.L": "foam",
                "L.shell": "polypropylene",
                "L.shell_thickness": "4",
                "L.additions": ["met_pad"],
            },
        },
    )
}
STARTS: Examples = {
    "of_a_clinic": (
        "For everyone of a clinic",
        {"name": "Walking shoe, usual", "clinic_id": 1, "way": "cast", "prescription": {"L": _SIDE, "R": _SIDE}},
    ),
    "of_ones_own": (
        "For oneself, of one side",
        {"name": "Left alone, light", "way": "direct", "prescription": {"L": _SHELL}},
    ),
}
SECONDS: Examples = {
    "the_same": ("The same once more", {}),
    "another_shoe": (
        "For another shoe, with a thinner cover",
        {
            "prescription": {side: _SIDE | {"cover_thickness": 15} for side in "LR"},
            "shoe": {"kind": "dress", "size": 41, "system": "eu", "liner": "out"},
            "wanted_on": _soon(90),
        },
    ),
}
STANCES: Examples = {
    "angles": (
        "Leg and heel of both feet, barefoot, as they were measured by hand",
        {
            "kind": "angles",
            "sides": {"L": {"leg_deg": -5, "heel_deg": 7.5}, "R": {"leg_deg": -4, "heel_deg": 9}},
        },
    ),
    "angles_in_devices": (
        "The same in the devices, of the left foot alone",
        {"kind": "angles", "with_devices": True, "sides": {"L": {"leg_deg": -5, "heel_deg": 3}}},
    ),
    "posture": (
        "The Foot Posture Index of the left foot, by its six items",
        {"kind": "posture", "sides": {"L": dict(zip(ITEMS_OF_POSTURE, (1, 1, 2, 1, 1, 0), strict=True))}},
    ),
    "arch": (
        "The height of the dorsum and the truncated length of the right foot",
        {"kind": "arch", "sides": {"R": {"dorsum": 610, "truncated": 1860}}},
    ),
    "navicular": (
        "The navicular of the right foot, unloaded and standing",
        {"kind": "navicular", "sides": {"R": {"unloaded": 460, "loaded": 375}}},
    ),
}
PARCELS: Examples = {
    "to_the_clinic": (
        "A pair that waits at send",
        {"clinic_id": 3, "codes": [CODE], "carrier": "Bay Post", "tracking": "SB 4417"},
    ),
    "back_to_the_lab": ("A pair that waits at return", {"clinic_id": 3, "codes": [CODE], "to_clinic": False}),
}
ARRIVALS: Examples = {
    "all_here": ("Everything is here and whole", {"exceptions": {}}),
    "one_missing": ("One pair is not in it", {"exceptions": {CODE: "missing"}}),
}
SCANS: Examples = {"left": ("A file", {"scan": "foot.stl"})}
WITH_PHOTOS: Examples = {
    "question": (
        "A question to the clinic with two photos; it is asked with both or not at all",
        {
            "act": {"act": "ask", "from_stage": "press", "reason": "Is this edge meant?", "waiting_on": "clinic"},
            "photos": ["edge.jpg", "heel.jpg"],
        },
    )
}
BELONGINGS: Examples = {"shoes": ("The wearer's shoes", {"kind": "shoes"})}
FATES: Examples = {
    "given_back": ("The wearer has it again", {"becomes": "to_wearer"}),
    "kept": ("The lab keeps it for the next pair", {"becomes": "kept", "shelf": "C2"}),
}
_FIT: dict[str, Any] = {"arch": "full", "cover": "ok"} | dict.fromkeys(TICKS, True)
_REVIEW = {"hours_reached": 8, "comfort": 8, "pain": 1, "pain_relief": 70, "skin": "clear"}
_ZONE = {"side": "R", "zone": "medial_arch", "what": "lowered"}


def _act(key: str, stage: str | None, **more: Any) -> dict[str, Any]:
    return {"act": key, "from_stage": stage} | more


_AT_THE_BENCH: Examples = {
    "check_in": (
        "Check in what came: the captures are accepted and the lab promises its day",
        _act(
            "advance",
            "check_in",
            facts={"shelf": "B3", "conditions": ["whole", "side_marked"], "belongings": ["shoes"]},
        ),
    ),
    "advance": ("The work of a stage is done", _act("advance", "press")),
    "advance_one_side": ("The same for the left side alone", _act("advance", "press", sides="L")),
    "advance_setting": (
        "The plaster is poured and sets for three quarters of an hour",
        _act("advance", "pour", facts={"sets_for": 45}),
    ),
    "advance_with_lots": (
        "The shells are pressed, and the lot of the sheet is noted on each side",
        _act("advance", "press", facts={"lots": [LOT]}),
    ),
    "advance_far": ("Several stages booked in one go", _act("advance", "press", to_stage="trim")),
    "start": ("Somebody begins", _act("start", "press")),
    "put_down": ("It is put down again, unfinished", _act("put_down", "press")),
    "park": (
        "It stands still for a reason",
        _act("park", "press", reason="material", waiting_on="supplier", facts={"words": "The sheet comes on Tuesday."}),
    ),
    "ask": (
        "A question to the clinic; the pair waits for its answer",
        _act("ask", "press", reason="Met pad on which side?", waiting_on="clinic"),
    ),
    "answer": ("The answer; the pair goes on", _act("answer", "press", reason="On the left alone.")),
    "resume": ("What it waited for has come", _act("resume", "press")),
    "send_back": (
        "Back to an earlier stage",
        _act("send_back", "trim", to_stage="press", sides="L", reason="cracked"),
    ),
    "recapture": ("A new capture of one side", _act("recapture", "press", sides="R", reason="unreadable")),
    "promise": (
        "Another promised day",
        _act("promise", "press", reason="The press is being mended.", facts={"day": _soon(60)}),
    ),
    "take_back": ("One's own last act, within ten minutes", _act("take_back", "press")),
}
_AT_THE_CLINIC: Examples = {
    "tell": ("The wearer was told", _act("tell", "dispense", facts={"how": "telephone", "who": "wearer"})),
    "book": ("A fitting is booked", _act("book", "dispense", facts={"at": f"{_soon(60)}T10:30", "what": "fitting"})),
    "no_show": ("The wearer did not come", _act("no_show", "dispense", facts={"what": "fitting"})),
    "dispense": (
        "Left and right are confirmed, the fit check passes, the pair goes home",
        _act(
            "dispense",
            "dispense",
            facts={
                "confirmed": "LR",
                "fit": {"read_back": True, "L": _FIT, "R": _FIT},
                "before": {"pain": 6, "comfort": 4},
            },
        ),
    ),
    "does_not_fit": (
        "The fit check fails, and the side goes back; what was looked at is kept with it",
        _act(
            "send_back",
            "dispense",
            to_stage="cover",
            sides="R",
            reason="too_short",
            facts={"fit": {"R": {"cover": "short"}}},
        ),
    ),
    "note_request": (
        "A wish that waits for the review; numbness makes it urgent",
        _act(
            "note_request",
            "wear_in",
            reason="The right toes go numb.",
            facts={"red_flags": ["numbness"], "painful": [1]},
        ),
    ),
    "keep_wearing": (
        "The review is held, the next one set",
        _act("keep_wearing", "wear_in", facts={"review": _REVIEW}),
    ),
    "adjust_here": (
        "Adjusted on the spot; the reason lets it be done before the review's day",
        _act(
            "adjust",
            "wear_in",
            sides="R",
            reason="Rubs at the arch.",
            facts={"where": "here", "zones": [_ZONE], "review": _REVIEW},
        ),
    ),
    "adjust_at_the_lab": (
        "A visit to the lab for a new cover",
        _act(
            "adjust",
            "wear_in",
            sides="LR",
            reason="The cover has lifted.",
            facts={"where": "lab", "stages": ["cover"]},
        ),
    ),
    "settle": ("The review is held and all is well", _act("settle", "wear_in", facts={"review": _REVIEW})),
}
_WAYS_OUT: Examples = {
    "refurbish": ("A new cover for a pair that has done its time", _act("refurbish", "wear_in")),
    "remake": (
        "One side is made anew, from the positive that was kept; the other is carried along",
        _act("remake", "wear_in", sides="L", reason="broken", facts={"start": "positive"}),
    ),
    "withdraw": (
        "The order is withdrawn; its code confirms it",
        _act("withdraw", "press", reason="Ordered twice.", facts={"code": CODE}),
    ),
    "close": (
        "Closed without a review, after three recorded attempts to reach the wearer",
        _act("close", "wear_in", reason="Has moved away."),
    ),
    "uncollected": (
        "Never collected, two months after the wearer was told",
        _act("uncollected", "dispense", reason="Does not answer."),
    ),
    "reopen": ("A pair at its end goes on", _act("reopen", None, reason="Withdrawn by mistake.")),
    "transfer": ("The wearer goes to another clinic, with every pair", _act("transfer", "press", facts={"clinic": 2})),
}
ACT: Examples = {**_AT_THE_BENCH, **_AT_THE_CLINIC, **_WAYS_OUT}
