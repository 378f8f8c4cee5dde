"""What turnaround does without being asked: putting months together, counting times anew, foretelling, and testing what
was foretold.
"""

from app.turnaround.actions.back_testing import TOPIC as BACK_TEST
from app.turnaround.actions.back_testing import back_test, look_at_weeks
from app.turnaround.actions.forecasting import TOPIC as MAKE_FORECASTS
from app.turnaround.actions.forecasting import look_ahead, make_forecasts
from app.turnaround.actions.keeping import TOPIC as KEEP_MONTHS
from app.turnaround.actions.keeping import keep_months, look_at_months
from app.turnaround.actions.recounting import count_anew

__all__ = [
    "BACK_TEST",
    "KEEP_MONTHS",
    "MAKE_FORECASTS",
    "back_test",
    "count_anew",
    "keep_months",
    "look_ahead",
    "look_at_months",
    "look_at_weeks",
    "make_forecasts",
]
