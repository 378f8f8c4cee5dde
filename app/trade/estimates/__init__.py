"""Figures of what has been and how sure they are: percentiles, survival of durations, control limits, shares.

Everything is pure, and vectorised where there may be many values. Which stays and pairs are asked for, and what is
promised from them, is decided where turnaround is reported.
"""

from app.trade.estimates.control import Individuals, ParetoRow, Shares, individuals, pareto, shares, wilson
from app.trade.estimates.percentiles import between, percentile, percentile_at
from app.trade.estimates.survival import Counted, Survival, quantile, quantile_band, standing, survival

__all__ = [
    "Counted",
    "Individuals",
    "ParetoRow",
    "Shares",
    "Survival",
    "between",
    "individuals",
    "pareto",
    "percentile",
    "percentile_at",
    "quantile",
    "quantile_band",
    "shares",
    "standing",
    "survival",
    "wilson",
]
