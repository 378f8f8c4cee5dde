"""The doors of the desks for programs, one file a subject."""

from fastapi import APIRouter

from app.desks.api import belongings, lots, photos, trail

router = APIRouter()
for subject in (trail, photos, belongings, lots):
    router.include_router(subject.router)
