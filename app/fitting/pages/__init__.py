"""The doors of this room: reviews by day, how a wearer stands, a clinic's own plans, and the wearer's own page.

A pair's other forms are fragments in templates/fitting, shown and posted by the pair page of the desks.
"""

from fastapi import APIRouter

from app.fitting.pages import at_home, plans, reviews, stance, wearer

router = APIRouter(include_in_schema=False)
for each in (reviews, plans, stance, at_home, wearer):
    router.include_router(each.router)
