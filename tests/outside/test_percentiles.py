"""Type 7 percentiles against published values, the standard library, SciPy and a real database.

Type 7 is defined by Hyndman & Fan, The American Statistician 1996;50(4):361-365; the worked values of the two small
samples were computed with numpy from that definition.
"""

import sqlite3
import statistics

import numpy as np
import pytest
from scipy.stats.mstats import mquantiles

from app.trade import estimates

STAYS = np.random.default_rng(7).gamma(2.0, 90.0, 997).round().tolist()
ASKED = [0, 1, 10, 25, 50, 75, 80, 90, 95, 99, 99.9, 100]


@pytest.mark.parametrize(
    ("values", "p", "expected"),
    [
        ([2, 4, 7, 11, 16], 10, 2.8),
        ([2, 4, 7, 11, 16], 90, 14),
        (range(1, 11), 25, 3.25),
        (range(1, 11), 90, 9.1),
        (range(1, 11), 50, 5.5),
        ([42], 90, 42),
    ],
)
def test_small_samples_give_their_worked_values(values: list[float], p: float, expected: float) -> None:
    assert estimates.percentile(values, p) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("parts", [4, 10, 100])
def test_quartiles_deciles_and_hundredths_are_those_of_the_standard_library(parts: int) -> None:
    ours = [estimates.percentile(STAYS, 100 * part / parts) for part in range(1, parts)]
    assert ours == pytest.approx(statistics.quantiles(STAYS, n=parts, method="inclusive"))


@pytest.mark.parametrize("p", ASKED)
def test_scipy_s_plotting_positions_of_type_seven_agree(p: float) -> None:
    # SciPy's mquantiles names type 7 by alphap = betap = 1.
    assert estimates.percentile(STAYS, p) == pytest.approx(float(mquantiles(STAYS, [p / 100], alphap=1, betap=1)[0]))


@pytest.mark.parametrize("p", ASKED)
def test_a_database_answers_the_same_by_offset(p: float) -> None:
    with sqlite3.connect(":memory:") as db:
        db.execute("CREATE TABLE stay (minutes REAL)")
        db.executemany("INSERT INTO stay VALUES (?)", [(stay,) for stay in STAYS])
        index, fraction = estimates.percentile_at(len(STAYS), p)
        rows = db.execute("SELECT minutes FROM stay ORDER BY minutes LIMIT 2 OFFSET ?", [index]).fetchall()
    db.close()
    read = estimates.between(rows[0][0], rows[-1][0], fraction)
    assert read == pytest.approx(estimates.percentile(STAYS, p), rel=1e-12)
