"""Charts as they are read: words stand in the drawing and never over one another, whatever the figures; the same
drawing on a page and on paper; links lead where they should; and a sentence tells the finding with its count.
"""

import re
from collections.abc import Callable
from datetime import date, timedelta
from html import unescape
from itertools import combinations, pairwise
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pypdfium2
import pytest
from fontTools.ttLib import TTFont  # type: ignore[import-untyped]
from fontTools.varLib.instancer import instantiateVariableFont  # type: ignore[import-untyped]
from hypothesis import given, settings
from hypothesis import strategies as st

from app.paperwork import sheets
from app.settings import ROOT
from app.templating import environment
from app.trade import estimates
from app.turnaround.rules import charts
from app.turnaround.rules.charts import COUNT, SHARE, Chart
from app.turnaround.rules.charts import drawing as d

pytestmark = pytest.mark.anywhere

BENCH, CLOCK = charts.minutes(8 * 60), charts.minutes(24 * 60)
MONDAY = date(2026, 8, 31)
HOSTILE = "<script>alert(1)</script> & \"' >"
few = settings(max_examples=25)

labels = st.text(st.characters(exclude_categories=("C", "M", "Z")), min_size=1, max_size=30) | st.sampled_from(
    ["To press", "12 Oct", "Waiting for the clinic's answer about the shoe", HOSTILE]
)
hrefs = st.sampled_from(["", "/queue/press?a=1&b=2"])
durations = st.lists(st.integers(0, 20_000), max_size=40)
counts = st.integers(0, 400)
days = st.integers(0, 60)
known = st.none() | st.floats(0, 1e5)
bands = st.none() | st.tuples(known, known)


@st.composite
def curves(draw: st.DrawFn) -> charts.Curve:
    return charts.Curve(draw(labels), estimates.survival(draw(durations), [*draw(durations), 60]))


@st.composite
def ages(draw: st.DrawFn) -> charts.Age:
    size = draw(counts)
    return charts.Age(draw(labels), size, draw(st.integers(0, size)), draw(hrefs))


@st.composite
def sampled(draw: st.DrawFn) -> charts.Sampled:
    size = draw(counts)
    return charts.Sampled(draw(labels), draw(st.integers(0, size)), size, draw(hrefs))


@st.composite
def kept(draw: st.DrawFn) -> charts.Kept:
    size = draw(st.integers(1, 5_000))
    level = draw(st.sampled_from([0.5, 0.85, 0.95]))
    return charts.Kept(draw(labels), level, draw(st.integers(0, size)), size, draw(hrefs))


def foreseen(label: str, steps: tuple[int, int, int], promised: int | None, href: str = "") -> charts.Foreseen:
    """Each of the three days so many after the one before, the first after Monday."""
    half, likely, nearly = (MONDAY + timedelta(days=sum(steps[:count])) for count in (1, 2, 3))
    day = None if promised is None else MONDAY + timedelta(days=promised)
    return charts.Foreseen(label, half, likely, nearly, day, href)


forecasts = st.builds(foreseen, labels, st.tuples(days, days, days), st.none() | st.integers(-30, 200), hrefs)
stretches = st.builds(charts.Stretch, labels, counts, known, known, bands, bands, hrefs)
measured = st.builds(charts.Measured, labels, st.floats(0, 1e5), st.integers(1, 500), hrefs)
stacks = st.integers(2, 120).flatmap(
    lambda length: st.lists(
        st.builds(charts.Layer, labels, st.lists(days, min_size=length, max_size=length), hrefs),
        min_size=1,
        max_size=16,
    )
)


def several(things: st.SearchStrategy[Any], least: int = 1, most: int = 26) -> st.SearchStrategy[list[Any]]:
    return st.lists(things, min_size=least, max_size=most)


def flow_of(layers: list[charts.Layer]) -> Chart:
    length = len(layers[0].counts)
    return charts.flow([MONDAY + timedelta(days=count) for count in range(length)], layers, title="Flow")


def values_of(rows: list[charts.Measured]) -> Chart:
    limits = estimates.individuals([each.value for each in rows])
    return charts.values(rows, limits, title="Weeks", unit=BENCH, above="working time")


def ranges_of(rows: list[charts.Measured]) -> Chart:
    limits = estimates.individuals([each.value for each in rows])
    return charts.ranges(rows, limits, title="Ranges", unit=BENCH)


def still_there(rows: list[charts.Curve]) -> Chart:
    return charts.still_there(rows, title="Stays", unit=BENCH, below="working time at the stage")


KINDS: dict[str, tuple[st.SearchStrategy[Any], Callable[[Any], Chart]]] = {
    "still there": (several(curves(), most=4), still_there),
    "over time": (several(stretches), lambda rows: charts.over_time(rows, title="Months", unit=CLOCK)),
    "ranked": (
        st.dictionaries(labels, st.integers(0, 999), max_size=18),
        lambda counts: charts.ranked(estimates.pareto(counts), title="Reasons"),
    ),
    "by age": (several(ages(), most=12), lambda rows: charts.by_age(rows, title="Ages", late="late", below="weeks")),
    "values": (several(measured, 2), values_of),
    "ranges": (several(measured, 2), ranges_of),
    "shares": (
        several(sampled()).filter(lambda rows: any(each.size for each in rows)),
        lambda rows: charts.shares(rows, title="Came back"),
    ),
    "flow": (stacks, flow_of),
    "foreseen": (several(forecasts), lambda rows: charts.foreseen(rows, MONDAY, title="At risk")),
    "trust": (several(kept(), most=9), lambda rows: charts.trust(rows, title="Held")),
}


def made() -> dict[str, Chart]:
    """One chart of each kind, with links, from figures that are known."""
    weeks = [f"week {number}" for number in range(1, 13)]
    times = np.array([900, 960, 940, 1_000, 930, 980, 3_000, 950, 990, 940, 960, 970])
    measured = [charts.Measured(week, float(at), 10, f"/w?{week[5:]}") for week, at in zip(weeks, times, strict=True)]
    curve = estimates.survival([60, 120, 180, 240, 300, 360, 420, 480], [500, 600])
    stretch = charts.Stretch("Oct", 30, 480, 960, (400, 560), (800, None), "/m?1")
    return {
        "still there": still_there([charts.Curve("To press", curve, "/queue/press")]),
        "over time": charts.over_time(
            [stretch, charts.Stretch("Nov", 12, None, None, href="/m?2")], title="Months", unit=CLOCK
        ),
        "ranked": charts.ranked(
            estimates.pareto({"heel": 6, "cover": 14}), title="Why", words=str.capitalize, href=lambda key: f"/r?{key}"
        ),
        "by age": charts.by_age(
            [charts.Age("1 week", 9, 1, "/a?1"), charts.Age("2 weeks", 4, 3, "/a?2")], title="Open", late="late"
        ),
        "values": values_of(measured),
        "ranges": ranges_of(measured),
        "shares": charts.shares(
            [
                *(charts.Sampled(f"week {n}", 2, 60, f"/s?{n}") for n in range(1, 9)),
                charts.Sampled("Oct", 12, 40, "/s"),
            ],
            title="Came back",
        ),
        "flow": flow_of([charts.Layer("Done", [0, 4, 9], "/done"), charts.Layer("To press", [5, 6, 8], "/press")]),
        "foreseen": charts.foreseen(
            [foreseen("26-00417-D", (3, 4, 2), 5, "/pair/1"), foreseen("26-00418-B", (1, 1, 2), 5, "/pair/2")],
            MONDAY,
            title="At risk",
        ),
        "trust": charts.trust(
            [charts.Kept("Half", 0.5, 126, 240, "/t?50"), charts.Kept("Most", 0.85, 180, 240, "/t?85")], title="Held"
        ),
    }


def drawn(chart: Chart) -> str:
    return str(environment.get_template("turnaround/charts.html").module.drawing(chart))  # type: ignore[attr-defined]


def plotted(chart: Chart, *said: str) -> str:
    return str(environment.get_template("turnaround/charts.html").module.plot(chart, *said))  # type: ignore[attr-defined]


def points(path: str) -> list[tuple[float, float]]:
    """Where a path comes by: absolute moves, lines, and lines along one axis."""
    here, seen = [0.0, 0.0], []
    for letter, numbers in re.findall(r"([MLHVz])([^MLHVz]*)", path):
        values = [float(number) for number in numbers.split()]
        if letter in "HV":
            here["HV".index(letter)] = values[0]
        elif letter in "ML":
            here = values
        seen.append((here[0], here[1]))
    return seen


def boxes(chart: Chart) -> list[d.Box]:
    """What every shape and word of a chart covers."""
    lines = [(x, y, x, y) for path in (*chart.areas, *chart.grid, *chart.lines) for x, y in points(path.d)]
    bars = [(bar.x, bar.y, bar.x + bar.width, bar.y + bar.height) for bar in chart.bars]
    links = [(link.x, link.y, link.x + link.width, link.y + link.height) for link in chart.links]
    marks = [(mark.x, mark.y, mark.x, mark.y) for mark in chart.marks]
    return [*lines, *bars, *links, *marks, *(text.box for text in chart.texts)]


def is_within(chart: Chart, box: d.Box) -> bool:
    left, top, right, bottom = box
    return left >= -0.1 and top >= -0.1 and right <= chart.width + 0.1 and bottom <= chart.height + 0.1


@pytest.mark.parametrize("kind", KINDS)
def test_words_never_stand_over_one_another_and_all_is_in_the_drawing(kind: str) -> None:
    figures, chart_of = KINDS[kind]

    @few
    @given(figures)
    def holds(rows: Any) -> None:
        chart = chart_of(rows)
        assert [box for box in boxes(chart) if not is_within(chart, box)] == []
        said = [text for text in chart.texts if text.words]
        assert [pair for pair in combinations(said, 2) if d.meet(pair[0].box, pair[1].box)] == []

    holds()


@pytest.mark.parametrize("kind", KINDS)
def test_hostile_words_stay_words(kind: str) -> None:
    figures, chart_of = KINDS[kind]

    @settings(max_examples=5)
    @given(figures)
    def holds(rows: Any) -> None:
        chart = chart_of(rows)
        parsed = ElementTree.fromstring(drawn(chart))
        shown = [(text.text or "") for text in parsed.iter("text")]
        assert shown == [text.words for text in chart.texts if text.words]
        assert not list(parsed.iter("script"))

    holds()


FINDINGS = {
    "still there": "To press: of 10 stays, 2 of them still open, half are over within 5 h, how long nine in ten take",
    "over time": "42 stays: in Oct the median of 30 was 8 h, the 90th percentile 16 h.",
    "ranked": "Of 20 pairs, 14 (70 %) are “Cover”, the most usual of 2; the first 2 make 100 %.",
    "by age": "13 pairs: most in 1 week (9), the oldest in 2 weeks (4); 4 are late.",
    "values": "12 points of 120 pairs, mean 2 d 2 h: 1 outside of the limits: week 7 (6 d 2 h, above its upper limit).",
    "ranges": "11 points of 110 pairs",
    "shares": "9 points of 520 pairs, mean 5.4 %: 1 outside of the limits: Oct (30 %, above its upper limit).",
    "flow": "17 pairs on 2 Sep 2026, after 5 on 31 Aug 2026; Done grew most, from 0 to 9.",
    "foreseen": "2 pairs, forecast on 31 Aug 2026: 1 promised for a day before they are there with 85 %",
    "trust": "Most: 85 % said, 75 % of 240 forecasts came, said too early.",
}


@pytest.mark.parametrize("kind", KINDS)
def test_a_sentence_tells_the_finding_with_its_count(kind: str) -> None:
    chart = made()[kind]
    assert FINDINGS[kind] in chart.alt.replace("\u00a0", " ")
    picture = ElementTree.fromstring(drawn(chart)).find("g")
    assert picture is not None
    assert (picture.get("role"), picture.get("aria-label")) == ("img", chart.alt)


@pytest.mark.parametrize("kind", KINDS)
def test_each_bar_and_point_leads_to_the_pairs_behind_it_and_so_does_its_row(kind: str) -> None:
    chart = made()[kind]
    parsed = ElementTree.fromstring(drawn(chart))
    links = parsed.findall("a")
    assert [link.get("href") for link in links] == [link.href for link in chart.links]
    assert all(link.get("aria-label") == link.findtext("title") != "" for link in links)
    picture = parsed.find("g")
    assert picture is not None
    assert not list(picture.iter("a")), "inside of a picture a link is not told on its own"
    # Curves and layers have no place of their own to tap; their rows lead on.
    rows = re.findall(r'class="in-row" href="([^"]*)"', plotted(chart, "Counted so."))
    assert [unescape(row) for row in rows] == [row.href for row in chart.rows if row.href] != []
    if kind not in ("still there", "flow"):
        assert {link.href for link in chart.links} == {row.href for row in chart.rows}


@pytest.mark.parametrize("kind", KINDS)
def test_the_drawing_is_the_same_on_a_page_and_on_paper_and_styles_nothing_inline(kind: str) -> None:
    chart = made()[kind]
    page, paper = plotted(chart, "Counted so.", "From there."), plotted(chart)
    assert drawn(chart) in page
    assert drawn(chart) in paper
    assert "Counted so." in page
    assert "From there." in page
    assert not re.search(r"<style|style=|<script|\son\w+=", page)


def test_paper_shows_the_words_and_the_patterns_of_every_chart() -> None:
    press = sheets.press()
    # A point of the drawing is a pixel of its own page.
    pages = "".join(f'<div style="break-after: page">{drawn(chart)}</div>' for chart in made().values())
    html = f"<style>@page {{ size: {d.WIDE}px 600px; margin: 0 }}</style>{pages}"
    document = press.html(string=html, base_url=sheets.ORIGIN, url_fetcher=press.fetcher)
    made_of = document.render(font_config=press.fonts, stylesheets=press.styles).write_pdf()
    pdf = pypdfium2.PdfDocument(made_of)
    try:
        for sheet, chart in zip(pdf, made().values(), strict=True):
            printed = plain(sheet.get_textpage().get_text_range())
            assert [text.words for text in chart.texts if plain(text.words) not in printed] == []
            picture = np.asarray(sheet.render(scale=4 / 3).to_pil().convert("L"))
            for bar in chart.bars:
                across = slice(round(bar.x + 2), round(bar.x + bar.width - 2))
                ground = picture[round(bar.y + 2) : round(bar.y + bar.height - 2), across]
                if bar.look == "hatched" and ground.size:
                    assert ground.min() < 150, "hatched, a bar has the stroke's tone"
                    assert ground.max() > 200, "and the ground's"
                elif bar.look == "solid" and ground.size:
                    assert ground.min() < 100
    finally:
        pdf.close()


def plain(words: str) -> str:
    """Without spaces, which a PDF may have between letters or not."""
    return re.sub(r"\s+", "", words)


@pytest.mark.parametrize("weight", [400, 700])
def test_no_letter_is_wider_than_it_is_taken_to_be(weight: int) -> None:
    for name in ("latin", "latin-ext"):
        font = TTFont(ROOT / f"static/vendor/atkinson-next/{name}.woff2")
        font = instantiateVariableFont(font, {"wght": weight}, static=True)
        em, widths, glyphs = font["head"].unitsPerEm, font["hmtx"], font.getBestCmap()
        letters = [chr(code) for code in glyphs if chr(code).isprintable() and not 0x300 <= code < 0x370]
        short = [each for each in letters if widths[glyphs[ord(each)]][0] / em * d.SIZE > d.reach(each) + 1e-9]
        assert short == []


@given(st.lists(st.floats(-50, 400), min_size=1, max_size=12).map(sorted), st.floats(1, 25))
def test_places_are_pushed_apart_in_their_order_and_no_further_than_needed(wanted: list[float], gap: float) -> None:
    places = d.spread(wanted, gap, 0, 300)
    assert all(b - a >= gap - 1e-9 for a, b in pairwise(places))
    assert min(places) >= -1e-9
    assert max(places) <= max(300, gap * (len(wanted) - 1)) + 1e-9
    if all(b - a >= gap for a, b in pairwise(wanted)) and wanted[0] >= 0 and wanted[-1] <= 300:
        assert places == pytest.approx(wanted)


@pytest.mark.parametrize(
    ("unit", "high", "marked"),
    [
        (COUNT, 3, "0, 1, 2, 3"),
        (COUNT, 47, "0, 10, 20, 30, 40, 50"),
        (COUNT, 12_300, "0, 5,000, 10,000, 15,000"),
        (SHARE, 0.31, "0, 10 %, 20 %, 30 %, 40 %"),
        (SHARE, 0.04, "0, 1 %, 2 %, 3 %, 4 %"),
        (BENCH, 50, "0, 10 min, 20 min, 30 min, 40 min, 50 min"),
        (BENCH, 5 * 60, "0, 1 h, 2 h, 3 h, 4 h, 5 h"),
        (BENCH, 2 * 480, "0, 4 h, 1 d, 1 d 4 h, 2 d"),
        (BENCH, 23 * 480, "0, 5 d, 10 d, 15 d, 20 d, 25 d"),
        (CLOCK, 2 * 1440, "0, 12 h, 1 d, 1 d 12 h, 2 d"),
        (CLOCK, 30 * 1440, "0, 7 d, 14 d, 21 d, 28 d, 35 d"),
        (charts.minutes(450), 2_000, "0, 1 d, 2 d, 3 d, 4 d, 5 d"),
    ],
)
def test_an_axis_is_marked_at_few_round_figures_in_the_lab_s_own_days(
    unit: charts.Unit, high: float, marked: str
) -> None:
    assert ", ".join(map(unit.mark, unit.ticks(0, high))).replace("\u00a0", " ") == marked


@given(st.sampled_from([COUNT, SHARE, BENCH, CLOCK, charts.minutes(7)]), st.floats(0, 1e7), st.integers(2, 9))
def test_marks_hold_the_figures_between_them_and_are_never_too_many(unit: charts.Unit, high: float, most: int) -> None:
    marks = unit.ticks(0, high, most)
    assert marks[0] == 0
    assert marks[-1] >= min(high, unit.all) * (1 - 1e-6)
    assert 2 <= len(marks) <= most + 2
    steps = np.diff(marks)
    assert steps == pytest.approx([steps[0]] * len(steps))


@pytest.mark.parametrize(
    ("days", "marked"),
    [
        (4, "31 Aug, 1 Sep, 2 Sep, 3 Sep, 4 Sep"),
        (10, "31 Aug, 2 Sep, 4 Sep, 6 Sep, 8 Sep, 10 Sep"),
        (30, "31 Aug, 7 Sep, 14 Sep, 21 Sep, 28 Sep"),
        (91, "31 Aug, 14 Sep, 28 Sep, 12 Oct, 26 Oct, 9 Nov, 23 Nov"),
        (150, "Sep 2026, Oct, Nov, Dec, 2027"),
        (400, "Sep 2026, Nov, 2027, Mar, May, Jul, Sep"),
        (3_000, "2027, 2028, 2029, 2030, 2031, 2032, 2033, 2034"),
    ],
)
def test_days_are_marked_by_day_week_or_month(days: int, marked: str) -> None:
    ticks = charts.day_ticks(MONDAY, MONDAY + timedelta(days=days))
    assert ", ".join(words for _, words in ticks).replace("\u00a0", " ") == marked


@given(st.dates(date(1990, 1, 1), date(2100, 1, 1)), st.integers(0, 20_000), st.integers(4, 10))
def test_never_more_days_are_marked_than_asked_for_and_all_lie_within(first: date, days: int, most: int) -> None:
    last = first + timedelta(days=days)
    ticks = [day for day, _ in charts.day_ticks(first, last, most)]
    assert len(ticks) <= most
    assert all(first <= day <= last for day in ticks)
    assert ticks == sorted(ticks)


def test_a_curve_of_a_million_stays_is_drawn_with_hundreds_of_steps() -> None:
    stays = np.random.default_rng(21).integers(0, 40_000, 1_000_000)
    chart = still_there([charts.Curve("All", estimates.survival(stays, [50_000]))])
    assert len(drawn(chart)) < 60_000


def test_shapes_are_as_long_as_the_counts_they_stand_for() -> None:
    ranked, aged = made()["ranked"].bars, made()["by age"].bars
    assert ranked[0].width / ranked[1].width == pytest.approx(14 / 6)
    # Not late and late, of the younger and of the older ones; the last is the key's.
    assert [bar.height / aged[0].height * 8 for bar in aged[:-1]] == pytest.approx([8, 1, 1, 3])
    assert [bar.look for bar in aged] == ["plain", "hatched"] * 2 + ["hatched"]


def test_layers_lie_on_one_another_and_are_as_high_as_their_counts() -> None:
    chart = made()["flow"]
    done, to_press = (points(area.d) for area in chart.areas)
    high = [
        [low[1] - top[1] for low, top in zip(area[:3], reversed(area[3:6]), strict=True)] for area in (done, to_press)
    ]
    unit = high[0][2] / 9
    assert [[each / unit for each in layer] for layer in high] == [
        pytest.approx([0, 4, 9], abs=0.02),
        pytest.approx([5, 6, 8], abs=0.02),
    ]
    assert list(reversed(done[3:6])) == to_press[:3]


def test_a_curve_has_come_down_to_half_at_its_disc() -> None:
    chart = made()["still there"]
    disc, corners = chart.marks[0], points(chart.lines[0].d)
    ground, top = max(y for _, y in corners), min(y for _, y in corners)
    assert disc.shape == "circle"
    assert (disc.x - corners[0][0]) / (corners[-1][0] - corners[0][0]) == pytest.approx(300 / 600, abs=0.01)
    assert min(abs(x - disc.x) + abs(y - disc.y) for x, y in corners) < 1, "it lies on the curve"
    assert top < disc.y < ground


def test_points_outside_have_another_shape_and_their_name() -> None:
    chart = made()["values"]
    assert [mark.shape for mark in chart.marks] == ["circle"] * 6 + ["diamond"] + ["circle"] * 5
    assert "week 7: 6 d 2 h" in [text.words.replace("\u00a0", " ") for text in chart.texts if text.kind == "strong"]


@pytest.mark.parametrize("kind", ["still there", "values", "shares"])
def test_no_line_runs_through_the_name_of_a_curve_or_of_a_point_outside(kind: str) -> None:
    chart = made()[kind]
    names = [text.box for text in chart.texts if text.kind == "strong" or text.words.startswith("median ")]
    corners = [points(path.d) for path in (*chart.grid, *chart.lines)]
    along = [np.linspace(one, other, 200).tolist() for line in corners for one, other in pairwise(line)]
    assert names
    assert [name for name in names for run in along for x, y in run if d.meet(name, (x, y, x, y))] == []


def test_a_share_s_axis_ends_at_all_of_them() -> None:
    rows = [charts.Sampled(label, hits, 20) for label, hits in (("Sep", 18), ("Oct", 19), ("Nov", 17))]
    words = {each.words for each in charts.shares(rows, title="Kept").texts}
    assert any(each.startswith("100") for each in words)
    assert not any(each.startswith(("120", "125", "150")) for each in words)
