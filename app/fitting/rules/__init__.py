"""What the clinic decides about a pair, pure: the fit check, the plan, the review, and when to give a wearer up."""

from app.fitting.rules.form import facts_from_form

__all__ = ["facts_from_form"]
