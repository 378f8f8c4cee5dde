"""Posts: what a prescriber writes for the tilt under a heel or forefoot, as numbers and back, and the wedge it takes.

Whether a post suits the foot and the shoe is a matter of the prescription; this reads the notation alone.
"""

import re
from dataclasses import dataclass
from math import isfinite, radians, tan

from app.trade import OutOfRange

MOST_DEGREES = 30
"""Beyond it a slash was probably forgotten ("44" for "4/4"). From memory, no source."""

UNDERSTOOD = (
    "Write the degrees with varus or valgus, and the degrees of motion after a slash: 4° varus, 2 valgus / 4, "
    "neutral, neutral / 4, or 4/4 for 4° varus with 4° of motion."
)

_DEGREE_SIGN = re.compile(r"[°º˚]|\bdeg(?:rees?|s)?\b\.?|(?<=\d)deg(?:rees?|s)?\b\.?")
_NUMBER = r"\d{1,3}(?:[.,]\d{1,2})?"
_VARUS = ("varus", "var", "inverted", "inv")
_VALGUS = ("valgus", "valg", "val", "everted", "ev")
_TILT = rf"(?:(?:{'|'.join(_VARUS + _VALGUS)})\b\.?|neutral)"
_FORM = re.compile(
    rf"(?P<before>{_TILT})? \s* (?P<degrees>{_NUMBER})? \s* (?P<middle>{_TILT})? \s*"
    rf"(?:/ \s* (?P<motion>{_NUMBER}) \s* (?:of \s+)? (?:motion)? \s* (?P<after>{_TILT})?)?",
    re.VERBOSE,
)


class NotAPost(ValueError):
    """What was written is no post; the sentence shows it and says which forms are understood."""

    def __init__(self, text: str) -> None:
        super().__init__(f"'{' '.join(text.split())[:40]}' can't be read as a post. {UNDERSTOOD}")


@dataclass(frozen=True)
class Post:
    """`degrees` is the tilt, valgus positive and varus negative; `motion` the degrees ground free, None if not said."""

    degrees: float
    motion: float | None = None

    def __post_init__(self) -> None:
        # Written so that what is no number fails the comparison, too.
        if not abs(self.degrees) <= MOST_DEGREES:
            raise OutOfRange("post", f"{self.degrees:g}°", f"at most {MOST_DEGREES}° varus or valgus")
        if self.motion is not None and not 0 <= self.motion <= MOST_DEGREES:
            raise OutOfRange("motion", f"{self.motion:g}°", f"from 0 to {MOST_DEGREES}°")

    def words(self) -> str:
        """As `parse` reads it back, to a hundredth: "4° varus", "2° valgus / 4° motion", "neutral"."""
        degrees = round(self.degrees, 2)
        tilt = f"{abs(degrees):g}° {_word(degrees)}" if degrees else "neutral"
        return tilt if self.motion is None else f"{tilt} / {round(self.motion, 2):g}° motion"

    def notation(self) -> str:
        """As it is ground and marked, post degrees / motion degrees: "4/4 varus", "2/0 valgus", "0/4"."""
        degrees = round(self.degrees, 2)
        return f"{abs(degrees):g}/{round(self.motion or 0, 2):g}" + (f" {_word(degrees)}" if degrees else "")

    def thick_edge(self) -> str | None:
        """The edge of the wedge that is as high as `wedge_height_mm` says; None where nothing tilts.

        A varus post lifts the inner (big toe's) edge, a valgus post the outer one: the words' own meaning.
        """
        degrees = round(self.degrees, 2)
        return None if not degrees else "outer" if degrees > 0 else "inner"


def parse(text: str) -> Post:
    """The post in what a person wrote; degree signs, blanks and case don't matter, a decimal may be a comma.

    "4/4" is post degrees / motion degrees (a podiatry periodical); that it means varus when nothing is said is common
    practice, no source. A bare "4" is refused, because nothing tells which way it tilts. Raises NotAPost or OutOfRange.
    """
    # One blank at most between two words: the form's optional blanks would try every way to share out a thousand.
    form = _FORM.fullmatch(" ".join(_DEGREE_SIGN.sub(" ", text.lower()).split()))
    if form is None:
        raise NotAPost(text)
    tilts = [form[place] for place in ("before", "middle", "after") if form[place]]
    motion = None if form["motion"] is None else _number(form["motion"])
    if len(tilts) > 1 or (form["degrees"] is None and tilts != ["neutral"]):
        raise NotAPost(text)
    degrees = _number(form["degrees"] or "0")
    if degrees and (tilts == ["neutral"] or (not tilts and motion is None)):
        raise NotAPost(text)
    return Post(degrees if tilts and tilts[0].rstrip(".") in _VALGUS else 0 - degrees, motion)


def wedge_height_mm(width_mm: float, degrees: float) -> float:
    """The thick edge of a wedge of this width: width x tan(angle). The sign of `degrees` says which edge, not how high.

    Trigonometry, as the post is ground: from nothing at one edge. OutOfRange for a width of nothing or a tilt that no
    post has.
    """
    if not (width_mm > 0 and isfinite(width_mm)):
        raise OutOfRange("width", f"{width_mm:g} mm", "above 0 mm")
    return width_mm * tan(radians(abs(Post(degrees).degrees)))


def _word(degrees: float) -> str:
    return "valgus" if degrees > 0 else "varus"


def _number(text: str) -> float:
    return float(text.replace(",", "."))
