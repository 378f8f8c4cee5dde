"""What can't be right in a prescription, or needs a second look, before anyone pours plaster for it.

Each check is one function of what is known. A *stop* has to be changed, or signed with a reason where law and sense
allow it; a *caution* has to be seen. They advise: the licensed clinician and the local rules decide. Lengths are tenths
of a millimetre, mass in kilograms, posture the Foot Posture Index (pronation positive).
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Literal

from app.trade import posts
from app.trade.sizes import ALLOWANCE, made_for
from app.trade.units import length_words, mass_words

Level = Literal["stop", "caution"]
Trust = Literal["published", "computed", "common practice", "from memory"]

STALE_MONTHS, STALE_MONTHS_CHILD = 12, 3
LIFT_CAUTION, LIFT_STOP = 100, 150
DEEP_CUP = 180
TIGHT_SHOES = frozenset({"dress", "slipper"})
NARROW_INSIDE = 850
"""An inside width under 85 mm; from memory, no source."""
DEVICE_PART = {"narrow": 0.90, "standard": 0.97, "wide": 1.05}
"""Width of the device as a part of the foot's breadth; from memory, no source."""
RIGID = frozenset({"acrylic", "copolymer", "polypropylene", "hdpe"})
RIGID_FROM = 30
HEEL_WIDTH = {"narrow": 550, "standard": 600, "wide": 650}
"""Width over which a rearfoot post is ground; from memory, no source."""
MOST_POST = 80
SIZE_APART = 150
APART = {"shell_thickness": 15, "heel_cup": 80, "skive": 40, "cover_thickness": 30, "heel_lift": 80}
POSTS_APART = 6.0
COLLIDE = (
    ("met_pad", "met_bar", "A metatarsal pad and a metatarsal bar take the same place."),
    ("morton", "reverse_morton", "A Morton's extension and a reverse one lift what the other lets down."),
    ("morton", "first_ray_cut", "A Morton's extension stands where the first-ray cut-out takes material away."),
    ("heel_pad", "heel_cut", "A heel pad lies in the heel cut-out."),
)
SIDE_NAMES = {"L": "left", "R": "right"}


@dataclass(frozen=True, slots=True)
class Known:
    """What is asked for and what is known of wearer, shoe and captures; what is not known raises nothing."""

    body: Mapping[str, Mapping[str, Any]]
    today: date
    risks: frozenset[str] = frozenset()
    mass_kg: float | None = None
    child: bool = False
    """Or may still be one."""
    posture: Mapping[str, int] = field(default_factory=dict)
    foot_length: Mapping[str, int] = field(default_factory=dict)
    foot_breadth: Mapping[str, int] = field(default_factory=dict)
    captured_on: Mapping[str, date] = field(default_factory=dict)
    shoe: Mapping[str, Any] = field(default_factory=dict)
    """kind, size, system, liner ("out" if it comes out of the shoe, "in" if it does not), inside_width."""
    allowance: int = ALLOWANCE
    """By how much the lab takes a last to be longer than the foot."""
    units: str = "metric"
    """In which the sentences say it: those of the clinic."""

    def long(self, tenths: float) -> str:
        return length_words(tenths, self.units)


@dataclass(frozen=True, slots=True)
class Finding:
    """`key` names it for good (check and side); `at` is the field it belongs to, `signed` whether a reason lifts it."""

    key: str
    at: str
    level: Level
    sentence: str
    source: str
    trust: Trust


Check = Callable[[Known], Iterator[Finding]]


def check(known: Known) -> list[Finding]:
    """Everything that needs another look, stops first."""
    found = [finding for each in CHECKS for finding in each(known)]
    return sorted(found, key=lambda finding: finding.level != "stop")


def ulcer(known: Known) -> Iterator[Finding]:
    if "active_ulcer" in known.risks:
        yield Finding(
            "ulcer", "ulcer", "stop",
            "An active ulcer: an insole alone is not the treatment. Say who treats it and what the device is to do "
            "meanwhile.",
            "van Netten et al., J Foot Ankle Res 2018;11:2, recommendation 10", "published",
        )  # fmt: skip


def shell_thickness(known: Known) -> Iterator[Finding]:
    """The published table is of polypropylene and of adults alone."""
    if known.mass_kg is None or known.child:
        return
    mass = mass_words(known.mass_kg, known.units)
    for side, items in known.body.items():
        posture, thickness = known.posture.get(side), items.get("shell_thickness")
        if posture is None or thickness is None or items.get("shell") != "polypropylene":
            continue
        wanted = polypropylene_thickness(known.mass_kg, posture)
        source = "McCormick, Bonanno and Landorf, J Foot Ankle Res 2013;6:19"
        at = f"{side}.shell_thickness"
        if wanted is None:
            sentence = (
                f"The published table says nothing for a posture of {posture} at {mass}: choose the "
                f"{SIDE_NAMES[side]} shell's thickness by hand."
            )
            yield Finding(f"thickness_asks.{side}", at, "caution", sentence, source, "published")
        elif wanted != thickness:
            sentence = (
                f"At {mass} and a posture of {posture} the published table has {known.long(wanted)} of "
                f"polypropylene; the {SIDE_NAMES[side]} shell is {known.long(thickness)}."
            )
            yield Finding(f"thickness.{side}", at, "caution", sentence, source, "published")


def polypropylene_thickness(mass_kg: float, posture: int) -> int | None:
    """Tenths of a millimetre by body mass and Foot Posture Index; None where the paper leaves it open.

    McCormick, Bonanno and Landorf, J Foot Ankle Res 2013;6:19: neutral feet, and supinated ones of just 75 kg, are not
    in its table.
    """
    if posture > 0:
        return 40 if mass_kg < 75 else 45
    if posture < 0 and mass_kg != 75:
        return 30 if mass_kg < 75 else 40
    return None


def captured_long_ago(known: Known) -> Iterator[Finding]:
    most = STALE_MONTHS_CHILD if known.child else STALE_MONTHS
    for side, day in known.captured_on.items():
        months = (known.today.year - day.year) * 12 + known.today.month - day.month - (known.today.day < day.day)
        if months >= most:
            sentence = (
                f"The {SIDE_NAMES[side]} foot was captured {months} months ago"
                + (", and a child's foot grows." if known.child else ".")
                + " Is it still this foot?"
            )
            yield Finding(
                f"stale.{side}", f"capture.{side}", "caution", sentence,
                f"{STALE_MONTHS} months, {STALE_MONTHS_CHILD} for a child: common practice, no source",
                "common practice",
            )  # fmt: skip


def heel_lift(known: Known) -> Iterator[Finding]:
    for side, items in known.body.items():
        lift = items.get("heel_lift") or 0
        if lift > LIFT_CAUTION:
            level: Level = "stop" if lift > LIFT_STOP else "caution"
            limit = LIFT_STOP if level == "stop" else LIFT_CAUTION
            sentence = (
                f"A heel lift of {known.long(lift)} inside the {SIDE_NAMES[side]} shoe is over {known.long(limit)}: "
                "the heel may slip out of it."
            )
            yield Finding(
                f"lift.{side}", f"{side}.heel_lift", level, sentence, "A podiatry periodical, 2019", "published"
            )


def tight_shoe(known: Known) -> Iterator[Finding]:
    inside = known.shoe.get("inside_width")
    narrow = known.shoe.get("kind") in TIGHT_SHOES or (inside is not None and inside < NARROW_INSIDE)
    fit = "Smitham et al., Orthop Proc 2012;94-B Supp XXII:78: device and foot that did not fit the shoe"
    for side, items in known.body.items():
        if narrow and (items.get("heel_cup") or 0) >= DEEP_CUP:
            cup = known.long(items["heel_cup"])
            sentence = f"A heel cup of {cup} on the {SIDE_NAMES[side]} lifts the heel in a narrow shoe."
            yield Finding(f"cup.{side}", f"{side}.heel_cup", "caution", sentence, fit, "common practice")
        if narrow and items.get("shell_width") == "wide":
            sentence = f"A wide {SIDE_NAMES[side]} device in a narrow shoe does not lie flat."
            yield Finding(f"wide.{side}", f"{side}.shell_width", "caution", sentence, fit, "common practice")
        breadth = known.foot_breadth.get(side)
        if inside is not None and breadth is not None:
            device = round(breadth * DEVICE_PART[items.get("shell_width") or "standard"])
            if device > inside:
                wide, room = known.long(device), known.long(inside)
                sentence = f"The {SIDE_NAMES[side]} device is about {wide} wide, the shoe {room} inside."
                yield Finding(f"width.{side}", f"{side}.shell_width", "caution", sentence, fit, "from memory")


def liner(known: Known) -> Iterator[Finding]:
    if known.shoe.get("liner") != "in":
        return
    for side, items in known.body.items():
        if items.get("cover_length") == "toes":
            sentence = (
                f"A {SIDE_NAMES[side]} cover to the toes lies on the shoe's own insole, which does not come out: it "
                "may be tight at the toes."
            )
            yield Finding(
                f"liner.{side}", f"{side}.cover_length", "caution", sentence,
                "A pedorthic guide: a full-length device is trimmed to the shoe's own liner where that comes out",
                "published",
            )  # fmt: skip


def numb_foot(known: Known) -> Iterator[Finding]:
    if "sensation_loss" not in known.risks:
        return
    source = "van Netten et al., J Foot Ankle Res 2018;11:2, for the risk; the limit is common practice, no source"
    for side, items in known.body.items():
        if items.get("cover", "none") == "none":
            sentence = f"Nothing cushions the {SIDE_NAMES[side]} foot, which does not feel what presses."
            yield Finding(f"bare.{side}", f"{side}.cover", "stop", sentence, source, "common practice")
        if items.get("shell") in RIGID and (items.get("shell_thickness") or 0) >= RIGID_FROM:
            sentence = f"A rigid {SIDE_NAMES[side]} shell under a foot that does not feel what presses."
            yield Finding(f"rigid.{side}", f"{side}.shell", "caution", sentence, source, "common practice")


def post_height(known: Known) -> Iterator[Finding]:
    for side, items in known.body.items():
        for key, name in (("rearfoot_post", "rearfoot"), ("forefoot_post", "forefoot")):
            width = post_width_mm(key, items.get("shell_width"), known.foot_breadth.get(side))
            if not items.get(key) or width is None:
                continue
            post = posts.parse(str(items[key]))
            height = posts.wedge_height_mm(width, post.degrees)
            if height * 10 > MOST_POST:
                sentence = (
                    f"A {SIDE_NAMES[side]} {name} post of {post.words()} over {known.long(width * 10)} is "
                    f"{known.long(height * 10)} high: more than a shell of this width carries."
                )
                yield Finding(
                    f"post.{side}.{key}", f"{side}.{key}", "caution", sentence,
                    "Height by trigonometry; the limit of 8 mm is from memory, no source", "from memory",
                )  # fmt: skip


def post_width_mm(key: str, shell_width: str | None, breadth_tenths: float | None) -> float | None:
    """Over which width a post is ground: at the heel by the shell's width, at the forefoot the device's own.

    None at the forefoot of a foot whose breadth is not known.
    """
    width = shell_width or "standard"
    if key == "rearfoot_post":
        return HEEL_WIDTH[width] / 10
    return None if breadth_tenths is None else breadth_tenths * DEVICE_PART[width] / 10


def sides_apart(known: Known) -> Iterator[Finding]:
    if set(known.body) != {"L", "R"}:
        return
    left, right = known.body["L"], known.body["R"]
    source = "A slip of the hand is likelier than feet so different: common practice, no source"
    for key in ("shell", "cover"):
        if left.get(key) and right.get(key) and left[key] != right[key]:
            sentence = f"Left and right have another {key}: is that meant?"
            yield Finding(f"apart.{key}", f"R.{key}", "caution", sentence, source, "common practice")
    for key, most in APART.items():
        if left.get(key) and right.get(key) and abs(left[key] - right[key]) >= most:
            sentence = f"Left {known.long(left[key])} and right {known.long(right[key])}: is that meant?"
            yield Finding(f"apart.{key}", f"R.{key}", "caution", sentence, source, "common practice")
    for key in ("rearfoot_post", "forefoot_post"):
        if left.get(key) and right.get(key):
            tilts = [posts.parse(str(items[key])).degrees for items in (left, right)]
            if abs(tilts[0] - tilts[1]) >= POSTS_APART or tilts[0] * tilts[1] < 0:
                sentence = (
                    f"Left {posts.parse(left[key]).words()} and right {posts.parse(right[key]).words()}: is that meant?"
                )
                yield Finding(f"apart.{key}", f"R.{key}", "caution", sentence, source, "common practice")


def size_against_foot(known: Known) -> Iterator[Finding]:
    fits = made_for(known.shoe, known.allowance)
    if fits is None or not known.foot_length:
        return
    longest = max(known.foot_length.values())
    if abs(fits - longest) > SIZE_APART:
        sentence = (
            f"The shoe's size is made for a foot of about {known.long(fits)}; the longer foot is "
            f"{known.long(longest)}. Sizes are a guide: look at the shoe."
        )
        yield Finding(
            "size", "shoe.size", "caution", sentence,
            "ISO 9407 and ISO/TS 19407 for the sizes, which are no exact measure; the limit of 15 mm is from memory",
            "computed",
        )  # fmt: skip


def colliding(known: Known) -> Iterator[Finding]:
    for side, items in known.body.items():
        added = set(items.get("additions") or ())
        for one, other, why in COLLIDE:
            if {one, other} <= added:
                yield Finding(
                    f"collide.{side}.{one}.{other}", f"{side}.additions", "caution",
                    f"{SIDE_NAMES[side].capitalize()}: {why[0].lower()}{why[1:]}",
                    "common practice, no source", "common practice",
                )  # fmt: skip


CHECKS: tuple[Check, ...] = (
    ulcer,
    numb_foot,
    heel_lift,
    shell_thickness,
    captured_long_ago,
    tight_shoe,
    liner,
    post_height,
    sides_apart,
    size_against_foot,
    colliding,
)
