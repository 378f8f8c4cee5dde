"""The doors of the desks for people, one file a subject."""

from fastapi import APIRouter

from app.desks.pages import boxes, desk, ordering, pair, reference, rights, scans

router = APIRouter(include_in_schema=False)
for subject in (desk, pair, scans, ordering, boxes, rights, reference):
    router.include_router(subject.router)
