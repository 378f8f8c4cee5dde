"""What turnaround does without being asked: putting months together, counting times anew."""

from app.turnaround.actions.keeping import TOPIC as KEEP_MONTHS
from app.turnaround.actions.keeping import keep_months, look_at_months
from app.turnaround.actions.recounting import count_anew

__all__ = ["KEEP_MONTHS", "count_anew", "keep_months", "look_at_months"]
