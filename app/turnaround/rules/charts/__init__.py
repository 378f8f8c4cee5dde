"""Figures as drawings: pure geometry, which templates/turnaround/charts.html writes alike on a page and on paper.

Each function takes figures that are worked out and gives a Chart: shapes, words where they stand, links, a sentence
that tells the finding, and the rows of its table. What a shape means is never told by colour alone.
"""

from app.turnaround.rules.charts.ages import Age, by_age
from app.turnaround.rules.charts.bars import ranked
from app.turnaround.rules.charts.control import Measured, Sampled, ranges, shares, values
from app.turnaround.rules.charts.curves import Curve, still_there
from app.turnaround.rules.charts.drawing import Chart
from app.turnaround.rules.charts.flow import Layer, flow
from app.turnaround.rules.charts.months import Stretch, over_time
from app.turnaround.rules.charts.spans import Foreseen, foreseen
from app.turnaround.rules.charts.ticks import COUNT, SHARE, Unit, day_ticks, minutes
from app.turnaround.rules.charts.trust import Kept, trust

__all__ = [
    "COUNT",
    "SHARE",
    "Age",
    "Chart",
    "Curve",
    "Foreseen",
    "Kept",
    "Layer",
    "Measured",
    "Sampled",
    "Stretch",
    "Unit",
    "by_age",
    "day_ticks",
    "flow",
    "foreseen",
    "minutes",
    "over_time",
    "ranges",
    "ranked",
    "shares",
    "still_there",
    "trust",
    "values",
]
