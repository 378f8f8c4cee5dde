"""The doors of the desks for people, one file a subject."""

from fastapi import APIRouter

from app.desks.pages import belongings, boxes, desk, journal, ordering, pair, reference, rights, scans, transferring

router = APIRouter(include_in_schema=False)
for subject in (desk, pair, belongings, scans, transferring, ordering, boxes, rights, journal, reference):
    router.include_router(subject.router)
