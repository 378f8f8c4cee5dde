"""What turnaround decides without a database: which months a period holds, whether a promise was kept, and how the
figures are drawn (charts/).
"""

from app.turnaround.rules.periods import PERIODS, first_month, too_late

__all__ = ["PERIODS", "first_month", "too_late"]
