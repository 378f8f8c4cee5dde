"""The doors of this room: the reviews by day, and how a wearer stands.

A pair's other forms are fragments in templates/fitting, shown and posted by the pair page of the desks.
"""

from fastapi import APIRouter

from app.fitting.pages import reviews, stance

router = APIRouter(include_in_schema=False)
for each in (reviews, stance):
    router.include_router(each.router)
