"""What a clinician writes for a post, what the lab reads from it, and what it says back."""

import math
from time import perf_counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.trade import OutOfRange, posts
from app.trade.posts import Post

steady = settings(derandomize=True, deadline=None)
tilts = st.integers(-60, 60).map(lambda n: n / 2)
motions = st.none() | st.integers(0, 60).map(lambda n: n / 2)


@pytest.mark.parametrize(
    ("text", "post"),
    [
        ("4/4", Post(-4, 4)),
        (" 4 / 4 ", Post(-4, 4)),
        ("4°/4°", Post(-4, 4)),
        ("4/4 varus", Post(-4, 4)),
        ("4/4 valgus", Post(4, 4)),
        ("4° varus", Post(-4)),
        ("4 VARUS / 0", Post(-4, 0)),
        ("varus 4", Post(-4)),
        ("2 valgus / 4", Post(2, 4)),
        ("3 deg varus / 4 deg of motion", Post(-3, 4)),
        ("2,5° valg", Post(2.5)),
        ("3º val.", Post(3)),  # the ordinal sign, which many keyboards have in the degree sign's place
        ("2° everted", Post(2)),
        ("3 inv / 4", Post(-3, 4)),
        ("0/4", Post(0, 4)),
        ("0", Post(0)),
        ("Neutral", Post(0)),
        ("neutral / 4", Post(0, 4)),
    ],
)
def test_a_post_is_read_however_it_is_written(text: str, post: Post) -> None:
    assert posts.parse(text) == post


@pytest.mark.parametrize(
    "text", ["", "/", "4/", "/4", "four", "4/4/4", "4 vagus", "4 mm", "varus", "4 neutral", "1.234 varus", "1234 varus"]
)
def test_what_is_no_post_is_told_which_forms_are_understood(text: str) -> None:
    with pytest.raises(posts.NotAPost, match="4° varus, 2 valgus / 4, neutral"):
        posts.parse(text)


def test_every_form_that_the_error_offers_is_understood() -> None:
    offered = {"4° varus": -4, "2 valgus / 4": 2, "neutral": 0, "neutral / 4": 0, "4/4": -4}
    assert all(form in posts.UNDERSTOOD for form in offered)
    assert {form: posts.parse(form).degrees for form in offered} == offered


def test_a_bare_number_is_refused_because_it_could_tilt_either_way() -> None:
    with pytest.raises(posts.NotAPost, match=r"^'4' can't be read as a post"):
        posts.parse("4")


@pytest.mark.parametrize("gap", [" ", "\n", "° "], ids=["blanks", "lines", "signs"])
def test_a_page_of_blanks_is_refused_as_fast_as_anything_else(gap: str) -> None:
    """Tried blank by blank, six hundred of them would take seconds, three thousand minutes."""
    began = perf_counter()
    with pytest.raises(posts.NotAPost):
        posts.parse("varus" + gap * 600 + "x")
    assert perf_counter() - began < 0.5


def test_a_sign_between_two_digits_does_not_make_one_number_of_them() -> None:
    with pytest.raises(posts.NotAPost):
        posts.parse("1°5 varus")


@pytest.mark.parametrize("text", ["-4", "+2/4", "\u22124° varus", "4/-4"])
def test_a_sign_is_refused_because_it_means_either_to_somebody(text: str) -> None:
    with pytest.raises(posts.NotAPost):
        posts.parse(text)


@pytest.mark.parametrize("text", ["varus 4 varus", "4 varus / 4 valgus"])
def test_a_direction_named_twice_is_refused(text: str) -> None:
    with pytest.raises(posts.NotAPost):
        posts.parse(text)


@pytest.mark.parametrize(("text", "field"), [("44 varus", "post"), ("30.5 valgus", "post"), ("4/44", "motion")])
def test_more_degrees_than_a_post_has_are_a_slip_of_the_pen(text: str, field: str) -> None:
    with pytest.raises(OutOfRange, match=rf"^{field} is .* 30°"):
        posts.parse(text)


@pytest.mark.parametrize(
    ("post", "said"),
    [
        (Post(-4, 4), "4° varus / 4° motion"),
        (Post(2.5), "2.5° valgus"),
        (Post(0, 4), "neutral / 4° motion"),
        (Post(-3, 0), "3° varus / 0° motion"),
        (Post(2.123456, 4.001), "2.12° valgus / 4° motion"),
        (Post(-0.001), "neutral"),
    ],
)
def test_a_post_is_said_in_one_form(post: Post, said: str) -> None:
    assert post.words() == said


@steady
@given(tilts, motions)
def test_what_is_said_reads_back_as_the_same_post(degrees: float, motion: float | None) -> None:
    assert posts.parse(Post(degrees, motion).words()) == Post(degrees, motion)


@steady
@given(st.text(max_size=30) | st.text("0123456789 /.,°varusglneti", max_size=20))
def test_whatever_is_typed_gives_a_post_or_a_sentence(text: str) -> None:
    try:
        outcome = posts.parse(text).words()
    except (posts.NotAPost, OutOfRange) as told:
        outcome = str(told)
    assert outcome.endswith((".", "varus", "valgus", "neutral", "motion"))


@steady
@given(st.floats(1, 200), st.floats(0, 29.5))
def test_a_steeper_wedge_is_higher_and_varus_as_high_as_valgus(width_mm: float, degrees: float) -> None:
    height = posts.wedge_height_mm(width_mm, degrees)
    assert height == posts.wedge_height_mm(width_mm, -degrees) < posts.wedge_height_mm(width_mm, degrees + 0.5)


@pytest.mark.parametrize(
    ("width_mm", "degrees"), [(0, 4), (-1, 4), (math.inf, 4), (math.nan, 4), (60, 31), (60, -31), (60, math.nan)]
)
def test_a_wedge_of_no_device_is_refused(width_mm: float, degrees: float) -> None:
    with pytest.raises(OutOfRange):
        posts.wedge_height_mm(width_mm, degrees)


@pytest.mark.parametrize(
    ("written", "notation", "thick"),
    [("4/4", "4/4 varus", "inner"), ("2 valgus", "2/0 valgus", "outer"), ("neutral / 4", "0/4", None)],
)
def test_a_post_is_marked_by_its_degrees_and_its_motion_and_says_which_edge_is_thick(
    written: str, notation: str, thick: str | None
) -> None:
    post = posts.parse(written)
    assert (post.notation(), post.thick_edge()) == (notation, thick)
