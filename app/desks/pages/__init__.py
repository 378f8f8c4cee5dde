"""The doors of the desks for people, one file a subject."""

from fastapi import APIRouter

from app.desks.pages import boxes, desk, ordering, pair, rights

router = APIRouter(include_in_schema=False)
for subject in (desk, pair, ordering, boxes, rights):
    router.include_router(subject.router)
