"""Estimates against published values, SciPy and lifelines.

Sources: Freireich et al., Blood 1963;21:699-716 (time in remission under 6-MP and placebo, as `lifelines` carries it);
NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2; An Introduction to Business Statistics, exercise 16.6; Graves
& Little, Little's Law, in Building Intuition, Springer 2008. The random samples have fixed seeds.
"""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter
from lifelines.datasets import load_leukemia
from lifelines.utils import qth_survival_times
from scipy import stats

from app.trade import OutOfRange, estimates
from app.trade.estimates import Counted

Sample = tuple[list[int], list[int]]
minutes = st.lists(st.integers(0, 300), max_size=80)
samples = st.tuples(minutes, minutes).filter(any)


def weibull(seed: int, size: int, censored: float, tie: int) -> Sample:
    """Durations with a long tail in steps of `tie`, of which about such a share is still open when looked at."""
    rng = np.random.default_rng(seed)
    last = (rng.weibull(0.8, size) * 900 / tie).round().astype(int) * tie
    looked = rng.random(size) < censored
    return last[~looked].tolist(), (last[looked] * rng.random(looked.sum())).round().astype(int).tolist()


SAMPLES = {
    "like a stage": weibull(11, 400, 0.2, 1),
    "mostly open": weibull(12, 300, 0.8, 1),
    "tied by the hour": weibull(13, 2_000, 0.3, 60),
    "tied by the day": weibull(14, 500, 0.1, 480),
    # Of 251 no share is exactly a tenth or a half, which lifelines misses by a rounding.
    "none open": weibull(15, 251, 0.0, 1),
    "two": ([30, 50], []),
    "ended and open at once": ([10, 10, 20, 20], [10, 20, 20]),
}


@pytest.fixture(scope="module")
def freireich() -> Callable[[int], Sample]:
    """The weeks to relapse, and those of who was still in remission when last seen, of arm 0 (6-MP) or 1 (placebo)."""
    everyone = load_leukemia()

    def arm(number: int) -> Sample:
        of = everyone[everyone.Rx == number]
        return of.t[of.status == 1].tolist(), of.t[of.status == 0].tolist()

    return arm


def test_remission_under_6_mp_is_the_published_curve(freireich: Callable[[int], Sample]) -> None:
    curve = estimates.survival(*freireich(0))
    assert (curve.count, curve.open) == (21, 12)
    assert curve.minutes.tolist() == [6, 7, 10, 13, 16, 22, 23]
    assert curve.survival == pytest.approx([0.8571, 0.8067, 0.7529, 0.6902, 0.6275, 0.5378, 0.4482], abs=5e-5)
    assert estimates.quantile(curve, 50) == 23


def test_percentiles_of_the_finished_alone_would_have_said_half_of_that(freireich: Callable[[int], Sample]) -> None:
    relapsed, in_remission = freireich(0)
    assert estimates.percentile(relapsed, 50) == 10
    assert estimates.quantile(estimates.survival(relapsed, in_remission), 90) is None, "no one can know it yet"


def test_remission_under_placebo_has_its_published_median(freireich: Callable[[int], Sample]) -> None:
    assert estimates.quantile(estimates.survival(*freireich(1)), 50) == 8


@pytest.mark.parametrize("name", SAMPLES)
@pytest.mark.parametrize("level", [0.8, 0.95])
def test_curves_and_bands_are_those_of_lifelines(name: str, level: float) -> None:
    ended, still = SAMPLES[name]
    ours = estimates.survival(ended, still, level=level)
    theirs = KaplanMeierFitter(alpha=1 - level).fit(ended + still, [1] * len(ended) + [0] * len(still))
    assert ours.survival == pytest.approx(theirs.predict(ours.minutes).to_numpy())
    assert ours.at_risk.tolist() == theirs.event_table.at_risk.loc[ours.minutes].tolist()
    # Where nobody is left, lifelines has no upper limit.
    some = ours.survival > 0
    band = theirs.confidence_interval_.loc[ours.minutes[some]].to_numpy()
    assert ours.low[some] == pytest.approx(band[:, 0])
    assert ours.high[some] == pytest.approx(band[:, 1])
    for p in (10, 50, 75, 90):
        for values, found in (
            (theirs.survival_function_, estimates.quantile(ours, p)),
            (theirs.confidence_interval_.iloc[:, [0]], estimates.quantile_band(ours, p)[0]),
        ):
            expected = float(np.squeeze(qth_survival_times(1 - p / 100, values)))
            assert (np.inf if found is None else found) == expected


@pytest.mark.filterwarnings("ignore:The confidence interval is undefined")  # where nobody is left
@pytest.mark.parametrize("name", SAMPLES)
@pytest.mark.parametrize("level", [0.8, 0.95])
def test_curves_and_bands_are_those_of_scipy(name: str, level: float) -> None:
    ended, still = SAMPLES[name]
    ours = estimates.survival(ended, still, level=level)
    theirs = stats.ecdf(stats.CensoredData(uncensored=ended, right=still)).sf
    assert ours.survival == pytest.approx(theirs.evaluate(ours.minutes))
    some = ours.survival > 0
    with np.errstate(divide="ignore", invalid="ignore"):
        low, high = theirs.confidence_interval(confidence_level=level, method="log-log")
    assert ours.low[some] == pytest.approx(low.evaluate(ours.minutes[some]))
    assert ours.high[some] == pytest.approx(high.evaluate(ours.minutes[some]))


def test_of_a_million_minutes_the_curve_is_the_same_counted_or_one_by_one() -> None:
    rng = np.random.default_rng(16)
    ended, still = rng.integers(0, 40_000, 1_000_000), rng.integers(0, 40_000, 5_000)
    raw = estimates.survival(ended, still)
    # Grouped as a database may do it, by month as well, so that a duration comes in two rows.
    halves = [np.unique(half, return_counts=True) for half in (ended[::2], ended[1::2])]
    values, counts = (np.concatenate(parts) for parts in zip(*halves, strict=True))
    counted = estimates.survival(Counted(values, counts), Counted(still, np.ones(len(still))))
    sorted_out = estimates.survival(ended.astype(float), still)
    for one in (counted, sorted_out):
        for ours, theirs in zip(raw, one, strict=True):
            np.testing.assert_array_equal(ours, theirs)
    assert raw.survival[::500] == pytest.approx(
        stats.ecdf(stats.CensoredData(uncensored=ended, right=still)).sf.evaluate(raw.minutes[::500]), rel=1e-9
    )


@given(samples)
def test_a_curve_never_rises_and_stays_within_its_band(both: Sample) -> None:
    curve = estimates.survival(*both)
    assert (np.diff(curve.survival, prepend=1) < 0).all()
    assert (curve.low >= 0).all()
    assert (curve.low <= curve.survival).all()
    assert (curve.survival <= curve.high).all()
    assert (curve.high <= 1).all()
    assert curve.count == len(both[0]) + len(both[1])
    assert curve.ended.sum() == curve.count - curve.open


@given(samples, st.floats(0, 100), st.floats(0, 100))
def test_a_percentile_lies_in_its_band_and_a_higher_one_is_no_shorter(both: Sample, one: float, other: float) -> None:
    curve = estimates.survival(*both)

    def known(time: float | None) -> float:
        return np.inf if time is None else time

    low, high = (known(estimates.quantile(curve, p)) for p in sorted([one, other]))
    assert low <= high
    shortest, longest = map(known, estimates.quantile_band(curve, one))
    assert shortest <= known(estimates.quantile(curve, one)) <= longest


@given(minutes.filter(bool), st.integers(0, 100))
def test_with_nothing_open_it_is_exactly_the_share_that_took_longer(ended: list[int], p: int) -> None:
    curve = estimates.survival(ended)
    assert curve.survival.tolist() == [sum(each > t for each in ended) / len(ended) for t in curve.minutes]
    # From whole counts, because a percentile by binary fractions may stand one value further along.
    needed = max(-(-p * len(ended) // 100), 1)
    assert estimates.quantile(curve, p) == sorted(ended)[needed - 1]


@given(samples, st.integers(0, 100))
def test_what_is_still_open_never_makes_it_look_quicker(both: Sample, p: int) -> None:
    ended, still = both
    known = estimates.quantile(estimates.survival(ended, still), p)
    if known is not None:
        alone = estimates.quantile(estimates.survival(ended), p)
        assert alone is not None
        assert alone <= known


def test_of_nothing_ended_nothing_is_known_but_how_long_was_looked() -> None:
    curve = estimates.survival([], [40, 70])
    assert (curve.count, curve.open, curve.longest, len(curve.minutes)) == (2, 2, 70, 0)
    assert estimates.quantile(curve, 50) is None
    assert estimates.quantile_band(curve, 50) == (None, None)


def test_of_one_duration_the_half_is_that_one_and_may_be_any_longer() -> None:
    curve = estimates.survival([35])
    assert estimates.quantile(curve, 50) == 35
    assert estimates.quantile_band(curve, 50) == (35, None)


def test_who_is_still_there_when_another_leaves_was_at_risk() -> None:
    assert estimates.survival([10], [10]).survival.tolist() == [0.5]


def test_durations_that_can_t_be_are_refused() -> None:
    for ended, still in (([], []), ([-1], []), ([1], [np.nan]), (Counted([5], [-1]), [])):
        with pytest.raises(OutOfRange):
            estimates.survival(ended, still)
    with pytest.raises(OutOfRange, match="between 0 and 1"):
        estimates.survival([1], level=95)
    with pytest.raises(OutOfRange, match="from 0 to 100"):
        estimates.quantile(estimates.survival([1]), 101)


def test_an_individuals_chart_has_the_handbook_s_limits() -> None:
    flow = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    chart = estimates.individuals(flow)
    assert chart.mean == pytest.approx(50.81)
    assert chart.range_mean == pytest.approx(1.8778, abs=5e-5)
    assert [chart.low, chart.high] == pytest.approx([45.8159, 55.8041], abs=5e-5)
    assert chart.range_high == pytest.approx(3.267 * 1.87778, abs=5e-5)
    assert chart.outside == ()
    assert estimates.individuals([*flow, 60.0, *flow]).outside == (10,)


def test_a_p_chart_has_the_textbook_s_limits() -> None:
    chart = estimates.shares([40, 44, 22, 34, 24, 32, 28, 32, 34, 30], [200] * 10)
    assert chart.mean == pytest.approx(0.16)
    assert chart.low == pytest.approx([0.0822] * 10, abs=5e-5)
    assert chart.high == pytest.approx([0.2378] * 10, abs=5e-5)
    assert chart.outside == ()
    # Of the sample of 400 the limits are half as far away as they are of 100.
    uneven = estimates.shares([10, 40, 0, 12], [100, 400, 0, 20])
    assert np.diff([uneven.mean, uneven.high[0]]) == pytest.approx(2 * np.diff([uneven.mean, uneven.high[1]]))
    assert uneven.low[3] == 0
    assert uneven.outside == (3,), "12 of 20 where an eighth is usual; a month of nothing is not outside"
    assert np.isnan(uneven.share[2])


@pytest.mark.parametrize("level", [0.8, 0.95, 0.99])
def test_a_share_s_doubt_is_scipy_s_wilson_interval(level: float) -> None:
    for hits, size in ((0, 1), (0, 12), (3, 12), (12, 12), (17, 400), (1, 100_000)):
        expected = stats.binomtest(hits, size).proportion_ci(level, method="wilson")
        assert estimates.wilson(hits, size, level) == pytest.approx((expected.low, expected.high), abs=1e-12)
    assert estimates.wilson(0, 12)[0] == 0
    assert estimates.wilson(12, 12)[1] == 1


def test_shares_of_nothing_are_refused() -> None:
    for refused in (
        lambda: estimates.wilson(0, 0),
        lambda: estimates.wilson(3, 2),
        lambda: estimates.shares([0, 0], [0, 0]),
        lambda: estimates.shares([3], [2]),
        lambda: estimates.individuals([1.0]),
        lambda: estimates.individuals([1.0, np.inf]),
        lambda: estimates.pareto({"late": -1}),
    ):
        with pytest.raises(OutOfRange):
            refused()


@given(st.dictionaries(st.text(max_size=3), st.integers(0, 50), max_size=12))
def test_reasons_come_from_the_most_usual_down_and_add_up(counts: dict[str, int]) -> None:
    rows = estimates.pareto(counts)
    assert {row.key: row.count for row in rows} == {key: count for key, count in counts.items() if count}
    assert [row.count for row in rows] == sorted((row.count for row in rows), reverse=True)
    assert [row.running for row in rows] == pytest.approx(np.cumsum([row.share for row in rows]))
    assert not rows or rows[-1].running == 1


def test_a_hundred_and_sixty_items_at_ninety_six_a_year_stay_a_year_and_two_thirds() -> None:
    """A log of ten years that begins and ends empty, in months: 960 items come, and on average 160 are there."""
    rng = np.random.default_rng(18)
    entered = rng.integers(0, 90, 960)
    left = entered + rng.permutation(np.tile([10, 20, 30], 320))
    months = np.arange(120)
    there, rate = estimates.standing(entered, left, months).mean(), 96
    assert there == 160
    assert there / rate == pytest.approx(1.667, abs=5e-4)


@given(st.lists(st.tuples(st.integers(0, 200), st.integers(0, 60)), min_size=1, max_size=60))
def test_little_s_law_holds_exactly_on_every_finished_log(log: list[tuple[int, int]]) -> None:
    entered = np.array([at for at, _ in log])
    left = entered + [stayed for _, stayed in log]
    span = int(left.max()) + 1
    # Who leaves need not be told apart from whom.
    there = estimates.standing(entered, np.random.default_rng(19).permutation(left), np.arange(span))
    assert there.sum() == sum(stayed for _, stayed in log), "L times the span is lambda W times the span"
    assert estimates.standing(entered, left, span) == 0
