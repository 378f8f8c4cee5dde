"""Draws how somebody stands, from behind: two lower legs and heels at given angles, nobody's and seen to be drawn."""

import io
import math
from collections.abc import Mapping, Sequence

from PIL import Image, ImageDraw

WIDE, HIGH = 900, 1200
ANKLES = {"L": (-1, (300, 780)), "R": (1, (600, 780))}
"""Which way is outwards, and where the ankle is."""
PARTS = {"leg": (-480, -60), "heel": (-30, 180)}
"""Where upper and lower point of each part stand along its line, from the ankle."""
OUTLINES = {
    "leg": ((-700, 96), (-560, 104), (-400, 102), (-240, 78), (-110, 54), (0, 48)),
    "heel": ((-60, 46), (20, 54), (100, 68), (160, 70), (200, 56), (215, 30)),
}
"""Half the width along a part's line, from the ankle."""
PAPER, FLOOR, INK = "#f4efe6", "#e2d8c6", "#4a4038"
SKINS = {"leg": "#dcc7ae", "heel": "#d3bba0"}
DEVICE, CUP = "#7d5a44", ((-92, 165), (-74, 215), (74, 215), (92, 165), (104, 165), (88, 236), (-88, 236), (-104, 165))
"""What the heel stands in, across and down from the ankle."""
Angles = Mapping[str, float]
"""Degrees of `L.leg`, `L.heel`, `R.leg` and `R.heel` to the vertical, valgus positive."""


def places(angles: Angles) -> dict[str, tuple[int, int]]:
    """The points that show these angles, to the pixel; valgus leads away from the other foot."""
    return {
        f"{side}.{part}.{end}": _at(angles, side, part, along)
        for side in ANKLES
        for part, ends in PARTS.items()
        for end, along in zip(("upper", "lower"), ends, strict=True)
    }


def picture(angles: Angles, in_devices: bool = False) -> bytes:
    """The drawing as a JPEG, with a line and its two points on each part as they are drawn on skin."""
    drawn = Image.new("RGB", (WIDE, HIGH), PAPER)
    pen = ImageDraw.Draw(drawn)
    pen.rectangle((0, 940, WIDE, HIGH), fill=FLOOR)
    for part, skin in SKINS.items():
        for side in ANKLES:
            pen.polygon(_outline(angles, side, part), fill=skin, outline=INK, width=4)
    if in_devices:
        for _, (x, y) in ANKLES.values():
            pen.polygon([(x + across, y + down) for across, down in CUP], fill=DEVICE)
    points = places(angles)
    for side in ANKLES:
        for part in PARTS:
            pen.line((points[f"{side}.{part}.upper"], points[f"{side}.{part}.lower"]), fill=INK, width=2)
    for x, y in points.values():
        pen.ellipse((x - 6, y - 6, x + 6, y + 6), fill=INK)
    out = io.BytesIO()
    drawn.save(out, "JPEG", quality=80)
    return out.getvalue()


def _at(angles: Angles, side: str, part: str, along: float, across: float = 0) -> tuple[int, int]:
    outwards, ankle = ANKLES[side]
    turned = outwards * math.radians(angles[f"{side}.{part}"])
    x = ankle[0] + along * math.sin(turned) + across * math.cos(turned)
    y = ankle[1] + along * math.cos(turned) - across * math.sin(turned)
    return round(x), round(y)


def _outline(angles: Angles, side: str, part: str) -> Sequence[tuple[int, int]]:
    left = [_at(angles, side, part, along, -half) for along, half in OUTLINES[part]]
    right = [_at(angles, side, part, along, half) for along, half in reversed(OUTLINES[part])]
    return left + right
