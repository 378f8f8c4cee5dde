"""The doors of the desks for programs, one file a subject."""

from fastapi import APIRouter

from app.desks.api import belongings, lots, ordering, photos, trail, wearers

router = APIRouter()
for subject in (trail, photos, belongings, lots, ordering, wearers):
    router.include_router(subject.router)
